"""The differences between sightings of two sorties that lie near each other."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from exchange.merge.shifts.voting import REACH_M
from exchange.merge.sightings import CELL_M, find_cells, split_by_sortie

Floats = NDArray[np.float64]
Codes = NDArray[np.int64]

MOST_VOTERS = 250
"""Sightings of a sortie that vote on its shift against another; more change nothing but the time it takes."""

ALIKE, STRANGE = 0.3, 0.1
"""Logarithm of a ratio of temperatures at which two sightings vote for each other a third as much; and how much they
do at least, whatever their temperatures."""

MOST_PARTNERS = 6
"""A sortie is compared with so many earlier ones, those it has most in common with; a net needs no more."""


@dataclass(frozen=True, eq=False)
class Differences:
    """Hold how sightings of the second sortie lie to those of the first.

    Attributes
    ----------
    first, second
        Codes of the sorties, first < second.
    voter
        Index of the second sortie's sighting, from 0 without gaps, shape (n,).
    east, north
        Second minus first, metres, shape (n,).
    weight
        How far the temperatures of both agree, from above 0 to 1, shape (n,).
    """

    first: int
    second: int
    voter: Codes
    east: Floats
    north: Floats
    weight: Floats


def collect_differences(
    east: Floats, north: Floats, temperature: Floats, sortie: Codes, lot: NDArray[np.uint64]
) -> Iterator[Differences]:
    """Yield the differences up to ``REACH_M`` of every two sorties, or of those with most in common.

    Parameters
    ----------
    east, north, temperature, sortie
        Of the sightings, shape (n,).
    lot
        Decides which vote where a sortie has more than ``MOST_VOTERS`` sightings near another's.
    """
    from scipy.spatial import cKDTree

    places = np.column_stack([east, north])
    count = int(sortie.max(initial=-1)) + 1
    rows = split_by_sortie(sortie, count)
    partners_of = _find_partners(find_cells(east, north, CELL_M), sortie, count)
    warmth = _centre_warmth(temperature, rows)
    trees = [cKDTree(places[own]) if len(own) else None for own in rows]
    for second, own in enumerate(rows):
        candidates = own[np.argsort(lot[own], kind="stable")][: 20 * MOST_VOTERS]
        near = {first: _find_near(trees[first], places, candidates) for first in partners_of[second]}
        partners = sorted(near, key=lambda first: (-len(near[first]), first))[:MOST_PARTNERS]
        for first in sorted(partners):
            if len(near[first]):
                warm = warmth[near[first]], warmth[rows[first]]
                yield _measure(first, second, trees[first], places[near[first]], warm)


def _find_partners(cell: Codes, sortie: Codes, count: int) -> list[list[int]]:
    """Return for each sortie the earlier ones that have most in common with it, by the cells both are in."""
    from scipy.sparse import coo_array

    if not count:
        return []
    couple = np.unique(np.column_stack([sortie, np.unique(cell, return_inverse=True)[1]]), axis=0)
    seen = coo_array((np.ones(len(couple)), (couple[:, 0], couple[:, 1]))).tocsr()
    common = (seen @ seen.T).tocoo()
    partners: list[list[tuple[float, int]]] = [[] for _ in range(count)]
    for first, second, weight in zip(*(part.tolist() for part in (*common.coords, common.data)), strict=True):
        if first < second:
            partners[second].append((-weight, first))
    return [[first for _, first in sorted(some)[: 2 * MOST_PARTNERS]] for some in partners]


def measure_differences(voters: Floats, others: Floats) -> Differences:
    """Return the differences up to ``REACH_M`` of some places from others, both metres, shape (n, 2)."""
    from scipy.spatial import cKDTree

    unknown = np.full(len(voters), np.nan), np.full(len(others), np.nan)
    return _measure(0, 1, cKDTree(others), voters, unknown)


def _find_near(tree: Any, places: Floats, candidates: Codes) -> Codes:
    if tree is None or not len(candidates):
        return np.empty(0, np.int64)
    near = tree.query(places[candidates], distance_upper_bound=REACH_M)[0]
    return np.sort(candidates[np.isfinite(near)][:MOST_VOTERS])


def _measure(first: int, second: int, tree: Any, voters: Floats, warm: tuple[Floats, Floats]) -> Differences:
    from scipy.spatial import cKDTree

    found = cKDTree(voters).sparse_distance_matrix(tree, REACH_M, output_type="ndarray")
    order = np.lexsort((found["j"], found["i"]))
    voting, other = found["i"][order], found["j"][order]
    difference = voters[voting] - tree.data[other]
    voter = np.unique(voting, return_inverse=True)[1]
    apart = np.nan_to_num(np.abs(warm[0][voting] - warm[1][other]), nan=0.0)
    weight = (1 - STRANGE) * np.exp(-apart / ALIKE) + STRANGE
    return Differences(first, second, voter, difference[:, 0], difference[:, 1], weight)


def _centre_warmth(temperature: Floats, rows: list[Codes]) -> Floats:
    """Return logarithms of temperatures, the median of each sortie taken out: spots cool between sorties."""
    warmth = np.log(np.maximum(temperature, -19.0) + 20.0)
    for own in rows:
        known = own[np.isfinite(warmth[own])]
        if len(known):
            warmth[own] -= np.median(warmth[known])
    return warmth
