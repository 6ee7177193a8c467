"""From differences to the link between two sorties: voting, then refinement of the peak."""

from __future__ import annotations

import numpy as np

from exchange.merge.shifts.differences import Differences
from exchange.merge.shifts.network import Link
from exchange.merge.shifts.voting import MATCHED, REACH_M, Peak, find_peak

LEAST_MARGIN = 10.0
"""Natural logarithm by which the best shift must beat all others: 20000 to 1. Chance reaches about 10 where sorties
share nothing (simulated fires)."""

LEAST_SUPPORT = 4
"""Fewer shared spots tell no shift."""

_ROUNDS = 20
_LEAST_VARIANCE_M2 = 0.02


def find_link(differences: Differences) -> Link | None:
    """Return how the second sortie lies to the first, if the evidence carries it."""
    if not len(differences.voter):
        return None
    peak = find_peak(differences.voter, differences.east, differences.north, differences.weight)
    if peak.margin < LEAST_MARGIN:
        return None
    link = _refine(differences, peak)
    return link if link.support >= LEAST_SUPPORT else None


def _refine(differences: Differences, peak: Peak) -> Link:
    """Return the link after iterated means of the differences near the peak."""
    near = np.hypot(differences.east - peak.east, differences.north - peak.north) < 4 * max(peak.width, 1.5)
    east, north, voter = differences.east[near], differences.north[near], differences.voter[near]
    alike = differences.weight[near]
    voters = int(differences.voter.max()) + 1
    crowd = np.bincount(differences.voter, differences.weight, minlength=voters) / (np.pi * REACH_M**2)
    x, y, variance = peak.east, peak.north, peak.width**2
    support = 1e-9
    for _ in range(_ROUNDS):
        square = (east - x) ** 2 + (north - y) ** 2
        height = alike * np.exp(-square / (2 * variance)) / (2 * np.pi * variance)
        total = np.bincount(voter, height, minlength=voters)
        weight = MATCHED * height / ((1 - MATCHED) * crowd[voter] + MATCHED * total[voter])
        support = max(float(weight.sum()), 1e-9)
        x, y = float(weight @ east / support), float(weight @ north / support)
        variance = max(float(weight @ square / (2 * support)), _LEAST_VARIANCE_M2)
    return Link(
        first=differences.first,
        second=differences.second,
        east=x,
        north=y,
        variance=variance / support,
        support=support,
        worth=peak.margin,
        votes=peak.votes,
    )
