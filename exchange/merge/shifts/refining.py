"""From differences to the links between sorties: voting, then refinement of the peaks."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from exchange.merge.shifts.differences import REACH_M, Differences
from exchange.merge.shifts.network import Links
from exchange.merge.shifts.voting import MATCHED, Peaks, find_peaks

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
    links = _refine(differences, peaks, first, second)
    return links.take((peaks.margin >= LEAST_MARGIN) & (links.support >= LEAST_SUPPORT))


def _refine(differences: Differences, peaks: Peaks, first: Codes, second: Codes) -> Links:
    """Return the links after iterated means of the differences near each peak."""
    couple = differences.couple[differences.voter]
    away = np.hypot(differences.east - peaks.east[couple], differences.north - peaks.north[couple])
    near = (away < 4 * np.maximum(peaks.width, 1.5)[couple]) & (peaks.margin >= LEAST_MARGIN)[couple]
    voters, couples = len(differences.couple), len(peaks.margin)
    crowd = np.bincount(differences.voter, differences.weight, minlength=voters) / (np.pi * REACH_M**2)
    east, north, voter, couple = differences.east[near], differences.north[near], differences.voter[near], couple[near]
    alike, chance = differences.weight[near], ((1 - MATCHED) * crowd)[voter]
    x, y, variance = peaks.east, peaks.north, peaks.width**2
    for _ in range(_ROUNDS):
        square = (east - x[couple]) ** 2 + (north - y[couple]) ** 2
        height = alike * np.exp(square * (-0.5 / variance)[couple]) * (MATCHED / (2 * np.pi * variance))[couple]
        weight = height / (chance + np.bincount(voter, height, minlength=voters)[voter])
        support = np.maximum(np.bincount(couple, weight, minlength=couples), 1e-9)
        x, y = (np.bincount(couple, weight * values, minlength=couples) / support for values in (east, north))
        spread = np.bincount(couple, weight * square, minlength=couples) / (2 * support)
        variance = np.maximum(spread, _LEAST_VARIANCE_M2)
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
