"""Where a flight comes near what it flew before: the places at which ways meet an edge and edges close."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]
Flags = NDArray[np.bool_]

_MOST_PLACES, _SPACING_M = 6000, 5.0
_NEAR_M, _NEAR_STEPS = 12.0, 1.5
_APART_M = 40.0
_SMALL_M = 170.0
_PARALLEL_COSINE = 0.8
_LONG_RUN_M = 30.0
_BREAK_M, _SAME_M = 130.0, 60.0
_LONGEST_FOLD, _FOLD_SHARE = 4.0, 0.9
_MOST_PAIRS, _PARTS = 20_000, 6.0


@dataclass(frozen=True, eq=False)
class Meetings:
    """Hold where a path meets itself.

    Attributes
    ----------
    junctions
        Pairs of indices, shape (n, 2), the earlier first: where two passes touch, cross, come together or part.
    is_doubled
        Which places another pass runs along, either way.
    """

    junctions: Whole
    is_doubled: Flags


def find_meetings(xy: Floats, step_m: float) -> Meetings:
    """Return where a path of even steps meets itself; small loops and doublings back are left out.

    Parameters
    ----------
    xy
        Metres, shape (n, 2), even steps.
    step_m
        Their length.
    """
    from scipy.spatial import cKDTree

    skip = max(1, round(_SPACING_M / step_m), -(-len(xy) // _MOST_PLACES))
    rows = np.arange(0, len(xy), skip)
    spacing_m, places = skip * step_m, xy[rows]
    within_m = max(_NEAR_M, _NEAR_STEPS * spacing_m)
    pairs = cKDTree(places).query_pairs(within_m, output_type="ndarray").astype(np.int64)
    pairs = pairs[(pairs[:, 1] - pairs[:, 0]) * spacing_m > _APART_M]
    ahead = np.gradient(places, axis=0) if len(places) > 1 else np.zeros_like(places)
    ahead /= np.maximum(np.hypot(*ahead.T), 1e-9)[:, None]
    cosine = np.abs((ahead[pairs[:, 0]] * ahead[pairs[:, 1]]).sum(axis=1))
    is_doubled = np.zeros(len(rows), np.bool_)
    is_doubled[pairs[cosine > _PARALLEL_COSINE].ravel()] = True
    apart = np.hypot(*(places[pairs[:, 0]] - places[pairs[:, 1]]).T)
    junctions = _find_junctions(pairs, apart, np.r_[0, np.cumsum(is_doubled)], spacing_m)
    return Meetings(rows[junctions], np.repeat(is_doubled, skip)[: len(xy)])


def _find_junctions(pairs: Whole, apart: Floats, doubled: Whole, spacing_m: float) -> Whole:
    """Return one junction for each short meeting, and one for either end of a long one."""
    found = []
    for group in _connected(pairs, _BREAK_M / spacing_m):
        first, second = pairs[group].T
        if np.median(second - first) * spacing_m < _SMALL_M and (second - first).max() * spacing_m < 1.5 * _SMALL_M:
            continue
        length = max(np.ptp(first), np.ptp(second)) * spacing_m
        if first.max() >= second.min() - _APART_M / spacing_m - 2 or _is_fold(first, second, doubled):
            continue
        ends = [int(np.argmin(apart[group]))] if length < _LONG_RUN_M else [int(first.argmin()), int(first.argmax())]
        found += [(first[end], second[end]) for end in ends]
    return _thin_out(np.array(found, dtype=np.int64).reshape(-1, 2), _SAME_M / spacing_m)


def _thin_out(junctions: Whole, within: float) -> Whole:
    """Return the junctions without those that lie near another on both passes."""
    kept: list[Whole] = []
    for one in junctions:
        if all(np.abs(one - other).max() > within for other in kept):
            kept.append(one)
    return np.array(kept, dtype=np.int64).reshape(-1, 2)


def _is_fold(first: Whole, second: Whole, doubled: Whole) -> bool:
    """Tell whether nearly all between two passes was flown twice: back and forth along the same line."""
    low, high = int(first.min()), int(second.max())
    return bool(high - low < _LONGEST_FOLD * np.ptp(first) + 2) and bool(
        doubled[high] - doubled[low] > _FOLD_SHARE * (high - low)
    )


def _connected(pairs: Whole, within: float) -> list[Whole]:
    """Return the rows of pairs that follow each other along both passes, with short breaks, group by group."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components
    from scipy.spatial import cKDTree

    if not len(pairs):
        return []
    # Scatter meets itself everywhere: of very many pairs those that lie close together on both passes go as one.
    side = max(1, int(within / _PARTS)) if len(pairs) > _MOST_PAIRS else 1
    cells, cell = np.unique(pairs // side, axis=0, return_inverse=True)
    links = cKDTree(cells).query_pairs(max(within, 4.5) / side, p=np.inf, output_type="ndarray")
    graph = coo_array((np.ones(len(links)), (links[:, 0], links[:, 1])), shape=(len(cells), len(cells)))
    label = connected_components(graph, directed=False)[1][cell.ravel()]
    order = np.argsort(label, kind="stable")
    return np.split(order, np.flatnonzero(np.diff(label[order])) + 1)
