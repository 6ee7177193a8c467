"""A straight way from a launch that closes a ring: then no more than a part of the edge was flown."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

NOISE_M: Final = 4.0
SHORT_SHARE: Final = 0.02
LONG_SHARE: Final = 0.005
"""A stretch is straight within the noise of a receiver and some drift; a short one within a share of itself."""

LEAST_SHARE: Final = 0.18
LEAST_M: Final = 40.0
"""A way that makes up less of a ring closes a gap of it at the most; in less than these metres noise looks straight."""

EDGE_ONLY: Final = 0.8
LEAST_SHARE_OF_EDGE: Final = 0.25
"""What lies on the ring for this share of its length, and does not go on outside, must make up more of the ring."""

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
    found: list[Floats] = []
    ways = _find_ways(paths)
    for ring in rings:
        inside = [(way, stretch) for way, rest in ways if (stretch := _find_in_ring(ring, way, rest)) is not None]
        usual = TIMES_LONGER * _longest_straight(ring, [stretch for _, stretch in inside]) if inside else 0.0
        # What goes on straight outside of the ring counts too: no edge does.
        found += [stretch for way, stretch in inside if _length_m(way) > usual]
    return found


def _find_ways(paths: Sequence[Floats]) -> list[tuple[Floats, Floats]]:
    """Return the straight stretch at each end of each flight, and all that was flown beside it."""
    ways = []
    for number, path in enumerate(paths):
        others = [other for index, other in enumerate(paths) if index != number]
        for places in (path, path[::-1]):
            way, rest = _split_way(places)
            ways.append((way, np.vstack([rest, *others])))
    return ways


def _split_way(path: Floats) -> tuple[Floats, Floats]:
    """Return the longest straight stretch that a path begins with, and what comes after it."""
    ends = np.unique(np.linspace(2, len(path), min(_TRIES, max(len(path) - 1, 1))).astype(np.int64))
    last = 0
    for end in ends.tolist():
        if not _is_straight(path[:end]):
            break
        last = end
    return path[:last], path[last:]


def _length_m(way: Floats) -> float:
    return float(np.hypot(*(way[-1] - way[0])))


def _is_straight(stretch: Floats) -> bool:
    ahead = stretch[-1] - stretch[0]
    length = float(np.hypot(*ahead))
    across = (stretch - stretch[0]) @ np.array([-ahead[1], ahead[0]]) / max(length, 1e-9)
    # About the launch everything is within the noise.
    within_m = min(1.5 + SHORT_SHARE * length, NOISE_M + LONG_SHARE * length)
    return bool(np.abs(across).max() <= within_m) or len(stretch) < 4


def _find_in_ring(ring: Floats, way: Floats, others: Floats) -> Floats | None:
    """Return the first and last place of a way where it is the only edge of a ring; ``None`` where that is short."""
    import shapely

    closed = shapely.LineString(np.vstack([ring, ring[:1]]))
    least_m = max(LEAST_M, LEAST_SHARE * closed.length)
    if len(way) < 2 or _length_m(way) < least_m:
        return None
    way = way[:: -(-len(way) // _MOST_PLACES)]
    is_edge = (shapely.distance(closed, shapely.points(way)) < _AT_RING_M) & ~_is_near(way, others)
    if not is_edge.any():
        return None
    stretch = way[np.flatnonzero(is_edge)[[0, -1]]]
    if _length_m(stretch) > EDGE_ONLY * _length_m(way):
        # A flight may begin on a straight stretch of the edge, along a road.
        least_m = max(least_m, LEAST_SHARE_OF_EDGE * closed.length)
    return stretch if _length_m(stretch) >= least_m else None


def _is_near(places: Floats, others: Floats) -> Flags:
    from scipy.spatial import cKDTree

    if not len(others):
        return np.zeros(len(places), np.bool_)
    distance, _ = cKDTree(others).query(places, distance_upper_bound=_FLOWN_AGAIN_M)
    return np.asarray(np.isfinite(distance))


def _longest_straight(ring: Floats, stretches: Sequence[Floats]) -> float:
    """Return the length of the longest straight stretch of a ring beside some of it."""
    import shapely

    beside = shapely.union_all([shapely.LineString(stretch).buffer(3 * _AT_RING_M) for stretch in stretches])
    rest = shapely.difference(shapely.LineString(np.vstack([ring, ring[:1]])), beside)
    longest = 0.0
    for part in shapely.get_parts(rest):
        corners = shapely.get_coordinates(part.simplify(NOISE_M))
        longest = max(longest, float(np.hypot(*np.diff(corners, axis=0).T).max(initial=0.0)))
    return longest
