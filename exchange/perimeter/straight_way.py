"""A straight way from a launch that closes a ring: then no more than a part of the edge was flown."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

STRAIGHT_M: Final = 4.0
STRAIGHT_SHARE: Final = 0.005
"""A stretch is straight within these metres and this share of its length: the noise of a receiver, and drift."""

LEAST_SHARE: Final = 0.12
LEAST_M: Final = 60.0
"""A way that makes up less of a ring closes a gap of it at the most; in less than these metres noise looks straight."""

TIMES_LONGER: Final = 2.0
"""Edges have straight stretches too; a way is this many times longer than any other of the ring."""

_AT_RING_M, _FLOWN_AGAIN_M, _MOST_PLACES, _TRIES = 6.0, 12.0, 600, 200


def find_straight_ways(rings: Sequence[Floats], paths: Sequence[Floats]) -> list[Floats]:
    """Return the stretches of rings that are nothing but a straight way to or from the end of a flight.

    Parameters
    ----------
    rings
        Metres, each of shape (n, 2), not closed.
    paths
        Flights in even steps, each of shape (n, 2).

    Returns
    -------
    list of numpy.ndarray
        First and last place of each stretch, shape (2, 2).
    """
    found = []
    for number, path in enumerate(paths):
        for place in (path, path[::-1]):
            way, rest = _split_way(place)
            others = np.vstack([rest, *(other for index, other in enumerate(paths) if index != number)])
            found += [stretch for ring in rings if (stretch := _find_in_ring(ring, way, others)) is not None]
    return found


def _split_way(path: Floats) -> tuple[Floats, Floats]:
    """Return the longest straight stretch that a path begins with, and what comes after it."""
    ends = np.unique(np.linspace(2, len(path), min(_TRIES, max(len(path) - 1, 1))).astype(np.int64))
    last = 0
    for end in ends.tolist():
        if not _is_straight(path[:end]):
            break
        last = end
    return path[:last], path[last:]


def _is_straight(stretch: Floats) -> bool:
    ahead = stretch[-1] - stretch[0]
    length = float(np.hypot(*ahead))
    across = (stretch - stretch[0]) @ np.array([-ahead[1], ahead[0]]) / max(length, 1e-9)
    # About the launch everything is within the noise.
    return bool(np.abs(across).max() <= STRAIGHT_M + STRAIGHT_SHARE * length) or len(stretch) < 4


def _find_in_ring(ring: Floats, way: Floats, others: Floats) -> Floats | None:
    import shapely

    closed = shapely.LineString(np.vstack([ring, ring[:1]]))
    length = float(np.hypot(*(way[-1] - way[0]))) if len(way) > 1 else 0.0
    least_m = max(LEAST_M, LEAST_SHARE * closed.length)
    if length < least_m:
        return None
    way = way[:: -(-len(way) // _MOST_PLACES)]
    is_edge = (shapely.distance(closed, shapely.points(way)) < _AT_RING_M) & ~_is_near(way, others)
    if not is_edge.any():
        return None
    stretch = way[np.flatnonzero(is_edge)[[0, -1]]]
    used = length * float(is_edge.mean())
    if used < least_m or used < TIMES_LONGER * _longest_straight(closed, stretch):
        return None
    return stretch


def _is_near(places: Floats, others: Floats) -> Flags:
    from scipy.spatial import cKDTree

    if not len(others):
        return np.zeros(len(places), np.bool_)
    distance, _ = cKDTree(others).query(places, distance_upper_bound=_FLOWN_AGAIN_M)
    return np.asarray(np.isfinite(distance))


def _longest_straight(ring: object, stretch: Floats) -> float:
    """Return the length of the longest straight stretch of a ring beside one of it."""
    import shapely

    rest = shapely.difference(ring, shapely.LineString(stretch).buffer(3 * _AT_RING_M))
    longest = 0.0
    for part in shapely.get_parts(rest):
        corners = shapely.get_coordinates(part.simplify(STRAIGHT_M))
        longest = max(longest, float(np.hypot(*np.diff(corners, axis=0).T).max(initial=0.0)))
    return longest
