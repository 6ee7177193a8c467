"""The differences between sightings of two sorties that lie near each other, for many couples of sorties at once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

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

    @classmethod
    def join(cls, parts: Sequence[Differences]) -> Differences:
        """Return several couples' differences, each of ``parts`` being one couple's."""
        voters = [len(part.couple) for part in parts]
        before = np.cumsum([0, *voters])[:-1]
        return cls(
            np.repeat(np.arange(len(parts)), voters),
            np.concatenate([part.voter + begin for part, begin in zip(parts, before, strict=True)]),
            *(np.concatenate([getattr(part, name) for part in parts]) for name in ("east", "north", "weight")),
        )

    def take(self, voters: Mask) -> Differences:
        """Return the differences of some voters, which are numbered anew; the couples are not."""
        number = np.cumsum(voters) - 1
        kept = voters[self.voter]
        return Differences(
            self.couple[voters], number[self.voter[kept]], self.east[kept], self.north[kept], self.weight[kept]
        )


@dataclass(frozen=True, eq=False)
class Seen:
    """Hold what one sortie saw.

    Attributes
    ----------
    places
        Metres, shape (n, 2).
    warmth
        Logarithms of temperatures, the sortie's median taken out: spots cool between sorties; NaN where unknown.
    lot
        Decides which vote where they are many.
    tree
        Of the places.
    """

    places: Floats
    warmth: Floats
    lot: NDArray[np.uint64]
    tree: Any

    @classmethod
    def of(cls, places: Floats, temperature: Floats, lot: NDArray[np.uint64]) -> Seen:
        """Lay out what one sortie saw, in metres and degrees Celsius."""
        from scipy.spatial import cKDTree

        warmth = np.log(np.maximum(temperature, -19.0) + 20.0)
        known = warmth[np.isfinite(warmth)]
        return cls(places, warmth - np.median(known) if len(known) else warmth, lot, cKDTree(places))

    def thin(self, most: int) -> Seen:
        """Return at most so many of the sightings, those whose lots are lowest."""
        from scipy.spatial import cKDTree

        if len(self.lot) <= most:
            return self
        rows = np.sort(np.argsort(self.lot, kind="stable")[:most])
        return Seen(self.places[rows], self.warmth[rows], self.lot[rows], cKDTree(self.places[rows]))


def measure_differences(first: Seen, second: Seen, *, most: int = MOST_VOTERS) -> Differences:
    """Return the differences up to ``REACH_M`` of one sortie's sightings from another's, of at most so many voters."""
    found = second.tree.sparse_distance_matrix(first.tree, REACH_M, output_type="ndarray")
    voting, other = found["i"], found["j"]
    votes = _choose_voters(voting, second.lot, most)
    if not votes.all():
        chosen = votes[voting]
        voting, other = voting[chosen], other[chosen]
    order = np.argsort(voting * len(first.places) + other)
    voting, other = voting[order], other[order]
    apart = np.nan_to_num(np.abs(second.warmth[voting] - first.warmth[other]), nan=0.0)
    begins = np.ones(len(voting), bool)
    begins[1:] = voting[1:] != voting[:-1]
    difference = second.places[voting] - first.places[other]
    return Differences(
        np.zeros(int(begins.sum()), np.int64),
        np.cumsum(begins) - 1,
        difference[:, 0],
        difference[:, 1],
        (1 - STRANGE) * np.exp(-apart / ALIKE) + STRANGE,
    )


def _choose_voters(voting: Codes, lot: NDArray[np.uint64], most: int) -> Mask:
    """Return which sightings vote: all that have a neighbour, or those of them whose lots are lowest."""
    is_near = np.zeros(len(lot), bool)
    is_near[voting] = True
    near = np.flatnonzero(is_near)
    if len(near) <= most:
        return np.ones(len(lot), bool)
    votes = np.zeros(len(lot), bool)
    votes[near[np.argsort(lot[near], kind="stable")[:most]]] = True
    return votes
