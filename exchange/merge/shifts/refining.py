"""From differences to the links between sorties: voting, then refinement of the peaks."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from exchange.merge.distinct import mark_changes
from exchange.merge.shifts.differences import REACH_M, Differences
from exchange.merge.shifts.network import Links
from exchange.merge.shifts.voting import MATCHED, Peaks, find_peaks

Floats = NDArray[np.float64]
Codes = NDArray[np.int64]

LEAST_MARGIN = 10.0
"""Natural logarithm by which the best shift must beat all others: 20000 to 1. Chance reaches about 10 where sorties
share nothing (simulated fires)."""

LEAST_SUPPORT = 4
"""Fewer shared spots tell no shift."""

_ROUNDS = 20
_LEAST_VARIANCE_M2 = 0.02


def find_links(differences: Differences, first: Codes, second: Codes) -> Links:
    """Return how second sorties lie to first ones, where the evidence carries it.

    Parameters
    ----------
    differences
        Of some couples, each with a voter.
    first, second
        Codes of the sorties of each couple.
    """
    peaks = find_peaks(differences)
    clear = peaks.margin >= LEAST_MARGIN
    if not clear.any():
        return Links.join([])
    links = _refine(differences.take_couples(clear), peaks.take(clear), first[clear], second[clear])
    return links.take(links.support >= LEAST_SUPPORT)


def _refine(differences: Differences, peaks: Peaks, first: Codes, second: Codes) -> Links:
    """Return the links after iterated means of the differences near each peak."""
    couple = differences.couple[differences.voter]
    away = np.hypot(differences.east - peaks.east[couple], differences.north - peaks.north[couple])
    near = away < (4 * np.maximum(peaks.width, 1.5))[couple]
    crowd = np.bincount(differences.voter, differences.weight) / (np.pi * REACH_M**2)
    east, north, alike = differences.east[near], differences.north[near], differences.weight[near]
    voters, couples = _Runs.of(differences.voter[near]), _Runs.of(couple[near])
    chance = ((1 - MATCHED) * crowd)[differences.voter[near]]
    x, y, variance = peaks.east, peaks.north, peaks.width**2
    for _ in range(_ROUNDS):
        square = (east - couples.spread(x)) ** 2 + (north - couples.spread(y)) ** 2
        height = alike * np.exp(square * couples.spread(-0.5 / variance))
        height *= couples.spread(MATCHED / (2 * np.pi * variance))
        weight = height / (chance + voters.spread(voters.add(height)))
        support = np.maximum(couples.add(weight), 1e-9)
        x, y = (couples.add(weight * values) / support for values in (east, north))
        variance = np.maximum(couples.add(weight * square) / (2 * support), _LEAST_VARIANCE_M2)
    return Links(
        first=first,
        second=second,
        east=x,
        north=y,
        variance=variance / support,
        support=support,
        worth=peaks.margin,
        votes=peaks.votes,
    )


@dataclass(frozen=True, eq=False)
class _Runs:
    """Hold where runs of equal codes begin, and how long they are."""

    begins: Codes
    sizes: Codes

    @classmethod
    def of(cls, code: Codes) -> _Runs:
        begins = np.flatnonzero(mark_changes(code))
        return cls(begins, np.diff(begins, append=len(code)))

    def add(self, values: Floats) -> Floats:
        return np.add.reduceat(values, self.begins)

    def spread(self, values: Floats) -> Floats:
        return np.repeat(values, self.sizes)
