"""The spot that a group of sightings makes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Codes = NDArray[np.int64]


@dataclass(frozen=True, kw_only=True, eq=False)
class Fused:
    """Hold the place of each group.

    Attributes
    ----------
    east, north
        Metres.
    variance
        Per axis, square metres.
    """

    east: Floats
    north: Floats
    variance: Floats


def fuse_positions(group: Codes, east: Floats, north: Floats, variance: Floats) -> Fused:
    """Return the mean of each group weighted by inverse variance, whose variance is one over the sum of weights.

    The least-variance mean of independent values, e.g. ISO/IEC Guide 98-3 (GUM) or any textbook of adjustment.
    """
    weight = 1 / variance
    total = np.bincount(group, weight)
    return Fused(
        east=np.bincount(group, weight * east) / total,
        north=np.bincount(group, weight * north) / total,
        variance=1 / total,
    )


def find_best(group: Codes, value: Floats) -> Codes:
    """Return for each group the row with the largest value, the first of equals; -1 where no row has a value."""
    count = int(group.max(initial=-1)) + 1
    largest = np.full(count, -np.inf)
    np.fmax.at(largest, group, value)
    rows = np.flatnonzero(value == largest[group])[::-1]
    best = np.full(count, -1)
    best[group[rows]] = rows
    return best
