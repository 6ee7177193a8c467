"""The differences between sightings of two sorties that lie near each other, for many couples of sorties at once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from exchange.merge.distinct import mark_changes

Floats = NDArray[np.float64]
Codes = NDArray[np.int64]
Mask = NDArray[np.bool_]

REACH_M = 14.0
"""Two sorties may lie this far off each other: twice the 6-7 m that receivers are off at worst (from memory)."""

MOST_VOTERS = 250
"""Sightings of a sortie that vote on its shift against another; more change nothing but the time it takes."""

ALIKE, STRANGE = 0.3, 0.1
"""Logarithm of a ratio of temperatures at which two sightings vote for each other a third as much; and how much they
do at least, whatever their temperatures."""


@dataclass(frozen=True, eq=False)
class Differences:
    """Hold how sightings of second sorties lie to those of first ones, couple after couple.

    Attributes
    ----------
    couple
        Of each voter, a sighting of a second sortie; from 0, rising, shape (voters,).
    voter
        Of each difference, from 0 without gaps, rising, shape (n,).
    east, north
        Second minus first, metres, shape (n,).
    weight
        How far the temperatures of both agree, from above 0 to 1, shape (n,).
    """

    couple: Codes
    voter: Codes
    east: Floats
    north: Floats
    weight: Floats

    def take(self, voters: Mask) -> Differences:
        """Return the differences of some voters, which are numbered anew; the couples are not."""
        number = np.cumsum(voters) - 1
        kept = voters[self.voter]
        return Differences(
            self.couple[voters], number[self.voter[kept]], self.east[kept], self.north[kept], self.weight[kept]
        )

    def take_couples(self, couples: Mask) -> Differences:
        """Return the differences of some couples, which are numbered anew, each of which has a voter."""
        if couples.all():
            return self
        kept = self.take(couples[self.couple])
        return replace(kept, couple=(np.cumsum(couples) - 1)[kept.couple])


@dataclass(frozen=True, eq=False)
class Seen:
    """Hold what one sortie saw.

    Attributes
    ----------
    rows
        Where its sightings stand among those of a block, rising.
    lot
        Of each, decides which vote where they are many.
    tree
        Of their places.
    """

    rows: Codes
    lot: NDArray[np.uint64]
    tree: Any

    @classmethod
    def of(cls, rows: Codes, places: Floats, lot: NDArray[np.uint64]) -> Seen:
        """Lay out some rows of ``places``, metres, shape (n, 2); ``lot`` is that of all."""
        from scipy.spatial import cKDTree

        return cls(rows, lot[rows], cKDTree(places[rows]))


@dataclass(frozen=True, eq=False)
class Couple:
    """Hold the neighbours that sightings of a second sortie have in a first one, as rows of their block.

    Attributes
    ----------
    voting, other
        The sighting of the second sortie, rising, and its neighbour, shape (n,).
    voters
        How many sightings of the second sortie have neighbours.
    """

    voting: Codes
    other: Codes
    voters: int


def find_neighbours(first: Seen, second: Seen, *, most: int = MOST_VOTERS) -> Couple:
    """Return the neighbours up to ``REACH_M`` of a second sortie's sightings in a first one, of so many at most."""
    found = second.tree.sparse_distance_matrix(first.tree, REACH_M, output_type="ndarray")
    voting, other = found["i"], found["j"]
    votes = np.zeros(len(second.rows), bool)
    votes[voting] = True
    if np.count_nonzero(votes) > most:
        near = np.flatnonzero(votes)
        votes[near[np.argsort(second.lot[near], kind="stable")[most:]]] = False
        chosen = votes[voting]
        voting, other = voting[chosen], other[chosen]
    order = np.argsort(voting * len(first.rows) + other)
    return Couple(second.rows[voting[order]], first.rows[other[order]], int(np.count_nonzero(votes)))


def measure_differences(couples: Sequence[Couple], places: Floats, warmth: Floats) -> Differences:
    """Return the differences between neighbours.

    Parameters
    ----------
    couples
        Each with a voter.
    places, warmth
        Of all rows of the block: metres, shape (n, 2), and what ``take_warmth`` returns.
    """
    voting, other = (np.concatenate([getattr(one, name) for one in couples]) for name in ("voting", "other"))
    couple = np.repeat(np.arange(len(couples)), [len(one.voting) for one in couples])
    is_next = mark_changes(couple, voting)
    apart = np.abs(warmth[voting] - warmth[other])
    difference = places[voting] - places[other]
    return Differences(
        couple[is_next],
        np.cumsum(is_next) - 1,
        difference[:, 0],
        difference[:, 1],
        np.where(np.isnan(apart), 1.0, (1 - STRANGE) * np.exp(-apart / ALIKE) + STRANGE),
    )


def take_warmth(temperature: Floats, sorties: Sequence[Codes]) -> Floats:
    """Return logarithms of temperatures, the median of each sortie's rows taken out: spots cool between sorties."""
    warmth = np.log(np.maximum(temperature, -19.0) + 20.0)
    for rows in sorties:
        known = np.sort(warmth[rows])  # NaN last
        count = len(known) - np.count_nonzero(np.isnan(known))
        if count:
            warmth[rows] -= (known[(count - 1) // 2] + known[count // 2]) / 2
    return warmth
