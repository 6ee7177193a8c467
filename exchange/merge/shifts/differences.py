"""The differences between sightings of two sorties that lie near each other."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from exchange.merge.shifts.voting import REACH_M

Floats = NDArray[np.float64]
Codes = NDArray[np.int64]

MOST_VOTERS = 250
"""Sightings of a sortie that vote on its shift against another; more change nothing but the time it takes."""


@dataclass(frozen=True, eq=False)
class Differences:
    """Hold how sightings of the second sortie lie to those of the first.

    Attributes
    ----------
    first, second
        Codes of the sorties, first < second.
    voter
        Index of the second sortie's sighting, from 0 without gaps.
    row_first, row_second
        Rows of the two sightings.
    east, north
        Second minus first, metres.
    """

    first: int
    second: int
    voter: Codes
    row_first: Codes
    row_second: Codes
    east: Floats
    north: Floats


def collect_differences(east: Floats, north: Floats, sortie: Codes, lot: NDArray[np.uint64]) -> Iterator[Differences]:
    """Yield the differences up to ``REACH_M`` of every two sorties.

    Parameters
    ----------
    east, north, sortie
        Of the sightings, shape (n,).
    lot
        Decides which vote where a sortie has more than ``MOST_VOTERS`` sightings near another's.
    """
    from scipy.spatial import cKDTree

    rows = [np.flatnonzero(sortie == code) for code in range(int(sortie.max(initial=-1)) + 1)]
    trees = [cKDTree(np.column_stack([east[own], north[own]])) if len(own) else None for own in rows]
    for first in range(len(rows)):
        for second in range(first + 1, len(rows)):
            if trees[first] is None or trees[second] is None:
                continue
            voters = _choose_voters(trees[first], rows[second], east, north, lot)
            if len(voters):
                yield _measure(first, second, trees[first], rows[first], voters, east, north)


def _choose_voters(tree: Any, rows: Codes, east: Floats, north: Floats, lot: NDArray[np.uint64]) -> Codes:
    rows = rows[np.argsort(lot[rows], kind="stable")][: 20 * MOST_VOTERS]
    near = tree.query(np.column_stack([east[rows], north[rows]]), distance_upper_bound=REACH_M)[0]
    return np.sort(rows[np.isfinite(near)][:MOST_VOTERS])


def _measure(first: int, second: int, tree: Any, own: Codes, voters: Codes, east: Floats, north: Floats) -> Differences:
    found = tree.query_ball_point(np.column_stack([east[voters], north[voters]]), REACH_M, return_sorted=True)
    counts = np.fromiter(map(len, found), np.int64, len(found))
    row_first = own[np.concatenate([np.asarray(one, np.int64) for one in found])]
    voter = np.repeat(np.arange(len(voters)), counts)
    row_second = voters[voter]
    return Differences(
        first=first,
        second=second,
        voter=voter,
        row_first=row_first,
        row_second=row_second,
        east=east[row_second] - east[row_first],
        north=north[row_second] - north[row_first],
    )
