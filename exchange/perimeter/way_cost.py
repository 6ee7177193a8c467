"""What speaks against each stretch of a flight being a way: a way is even, leaves at a corner, and meets little."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from exchange.perimeter.cuts import CutPath
from exchange.perimeter.legs import unevenness_m

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]

NEVER: Final = 1e6
"""What can be no way, or no edge, costs this much."""

# All costs are in units of one plain way more; about the odds of each, as natural logarithms.
_WAY, _WHOLE_LENGTH = 1.0, 1.5
_MISFIT, _MOST_MISFIT, _ALLOWED_M, _ALLOWED_SHARE = 0.35, 12.0, 1.2, 0.009
_CORNER, _MOST_CORNERS, _CORNER_DEGREES = 1.5, 4.0, 60.0
_MET, _MOST_MET = 0.7, 3.0
_NO_CORNER, _NO_CORNER_DEGREES, _AT_CUT_M = 1.5, 45.0, 8.0
_SHAPE, _MOST_SHAPE, _SHORTEST_SHAPE_M, _COMPARED = 1.5, 4.5, 40.0, 16
_SPEED, _SAME_SPEED = 1.5, 0.15
_DETOUR, _NO_DETOUR, _MOST_DETOUR = 3.0, 1.4, 6.0
_SHORTEST_M, _INSIDE_M = 15.0, 15.0


def weigh_ways(cut: CutPath) -> Floats:
    """Return what it costs that the stretch from each cut to each later one is a way, shape (k, k)."""
    count, step = len(cut.cuts), cut.path.step_m
    one, other = np.triu_indices(count, 1)
    starts, ends = cut.cuts[one], cut.cuts[other]
    length = (ends - starts) * step
    rough = unevenness_m(cut.path.even, starts, ends)
    cost = _WAY + _WHOLE_LENGTH * length / max((len(cut.path.even) - 1) * step, 1.0)
    cost += np.minimum(_MISFIT * (rough / (_ALLOWED_M + _ALLOWED_SHARE * length)) ** 2, _MOST_MISFIT)
    across = np.hypot(*(cut.path.even[ends] - cut.path.even[starts]).T)
    cost += np.minimum(_DETOUR * np.maximum(length / np.maximum(across, 1.0) - _NO_DETOUR, 0.0), _MOST_DETOUR)
    corners = _count_inside(cut, cut.corners_over(_CORNER_DEGREES), starts, ends)
    cost += _CORNER * np.minimum(corners, _MOST_CORNERS)
    cost += _MET * np.minimum(_count_inside(cut, np.sort(cut.meetings.junctions.ravel()), starts, ends), _MOST_MET)
    cost += _weigh_corner(cut, starts) + _weigh_corner(cut, ends) - _speak_of_speed(cut.path.speed, starts, ends)
    is_leg = (one == 0) | (other == count - 1)
    cost[is_leg] -= [_speak_of_shape(cut, *pair) for pair in zip(starts[is_leg], ends[is_leg], strict=True)]
    costs = np.full((count, count), NEVER)
    costs[one, other] = np.where(length < _SHORTEST_M, NEVER, cost)
    return costs


def _count_inside(cut: CutPath, places: Whole, starts: Whole, ends: Whole) -> Floats:
    slack = cut.steps(_INSIDE_M)
    count = np.searchsorted(places, ends - slack) - np.searchsorted(places, starts + slack)
    return np.asarray(np.maximum(count, 0).astype(np.float64))


def _weigh_corner(cut: CutPath, places: Whole) -> Floats:
    """Return what it costs that a way meets an edge without a corner; nothing at the ends of the flight."""
    reach = cut.steps(_AT_CUT_M)
    sharpest = np.array([cut.turn[max(0, place - reach) : place + reach + 1].max() for place in places.tolist()])
    is_end = (places == 0) | (places == len(cut.path.even) - 1)
    return np.where(is_end, 0.0, _NO_CORNER * np.clip(1.0 - np.degrees(sharpest) / _NO_CORNER_DEGREES, 0.0, 1.0))


def _speak_of_speed(speed: Floats, starts: Whole, ends: Whole) -> Floats:
    """Return how much the speed of stretches differs from the usual one."""
    known = np.isfinite(speed)
    if known.mean() < 0.5:
        return np.zeros(len(starts))
    pace = np.where(known, np.minimum(speed, np.nanquantile(speed, 0.99)), np.nanmedian(speed))
    total = np.r_[0.0, np.cumsum(pace)]
    mine = (total[ends] - total[starts]) / np.maximum(ends - starts, 1)
    usual, spread = np.nanmedian(speed), np.subtract(*np.nanquantile(speed, [0.8, 0.2]))
    apart = np.abs(mine / max(float(usual), 1e-6) - 1.0)
    return np.asarray(_SPEED * np.clip(2.0 * (apart - _SAME_SPEED), 0.0, 1.0) * (np.abs(mine - usual) > 0.5 * spread))


def _speak_of_shape(cut: CutPath, start: int, end: int) -> float:
    """Return how much more even a leg is than most stretches of its length in the rest of the flight."""
    xy = cut.path.even
    low, high = (end, len(xy) - 1) if start == 0 else (0, start)
    window = min(end - start, (high - low) // 2)
    if window * cut.path.step_m < _SHORTEST_SHAPE_M:
        return 0.0
    mine = np.linspace(start, end - window, 3).astype(np.int64)
    rest = np.linspace(low, high - window, _COMPARED).astype(np.int64)
    rough = float(np.quantile(unevenness_m(xy, rest, rest + window), 0.25))
    even = max(float(unevenness_m(xy, mine, mine + window).max()), 1.0)
    return float(np.clip(_SHAPE * np.log(max(rough, 1e-9) / even), 0.0, _MOST_SHAPE))
