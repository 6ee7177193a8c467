"""Fixes that no aircraft can have flown: single spikes and bursts of them."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

_WINDOW = 15
_SPEED_ALLOWANCE = 1.3
_DISTANCE_ALLOWANCE_M = 4.0
# What a jump costs against the fixes that skipping it would lose.
_JUMP_COST, _COST_A_METRE, _GREATEST_COST = 20.0, 0.5, 300.0
_RUNS_LOOKED_BACK = 40
_DETOUR_SHARE, _GREATEST_SHARE = 0.1, 0.3


def find_spikes(x: Floats, y: Floats, interval_seconds: Floats) -> Flags:
    """Tell which fixes of an ordered path cannot be reached from, or left for, the rest of it.

    The path is broken at each step that is longer than the speed around it allows; of the runs between, the chain is
    kept that holds the most fixes and jumps the least. So a burst goes as a whole, and a fast but true flight stays.

    Parameters
    ----------
    x, y
        Metres, in flown order.
    interval_seconds
        Of each step, one fewer than the fixes.
    """
    if len(x) < 3:
        return np.zeros(len(x), np.bool_)
    step = np.hypot(np.diff(x), np.diff(y))
    speed = _speed_around(step / interval_seconds)
    slack = _DISTANCE_ALLOWANCE_M + 4.0 * _scatter(x, y)
    is_break = step > slack + _SPEED_ALLOWANCE * speed * interval_seconds
    if not is_break.any():
        return np.zeros(len(x), np.bool_)
    starts = np.r_[0, np.flatnonzero(is_break) + 1]
    ends = np.r_[starts[1:], len(x)] - 1
    clock = np.r_[0.0, np.cumsum(interval_seconds)]
    fastest = np.maximum(np.r_[speed, speed[-1]], np.r_[speed[0], speed])
    kept = _choose_chain(np.column_stack([x, y]), clock, fastest, slack, starts, ends)
    is_kept_run = np.zeros(len(starts), np.bool_)
    is_kept_run[kept] = True
    is_dropped = ~np.repeat(is_kept_run, ends - starts + 1)
    is_spike = is_dropped & ~_lies_on_the_way(x, y, is_dropped, slack)
    # Where so much would go, the log moves by jumps: a car that stops and goes, or fixes far apart.
    return is_spike if is_spike.mean() <= _GREATEST_SHARE else np.zeros(len(x), np.bool_)


def _lies_on_the_way(x: Floats, y: Floats, is_dropped: Flags, slack: float) -> Flags:
    """Tell which dropped fixes lie between their neighbours: a fast step or a stop, which aircraft do fly."""
    edges = np.flatnonzero(np.diff(np.r_[False, is_dropped, False].astype(np.int8)))
    first, last = edges[::2], edges[1::2] - 1
    before, after = first - 1, np.minimum(last + 1, len(x) - 1)
    along = np.r_[0.0, np.cumsum(np.hypot(np.diff(x), np.diff(y)))]
    is_between = (before >= 0) & (last + 1 < len(x))
    direct = np.hypot(x[after] - x[before], y[after] - y[before])
    detour = along[after] - along[before] - direct
    marks = np.zeros(len(x) + 1)
    on_the_way = is_between & (detour <= np.maximum(slack, _DETOUR_SHARE * direct))
    marks[first[on_the_way]] += 1.0
    marks[last[on_the_way] + 1] -= 1.0
    return np.asarray(np.cumsum(marks)[:-1] > 0.0)


def _speed_around(speed: Floats) -> Floats:
    """Return the greater of the median speeds before and after each step, so that a change of speed is no break."""
    from scipy.ndimage import median_filter

    half = _WINDOW // 2
    window = min(_WINDOW, len(speed))
    if window < _WINDOW:
        return np.full(len(speed), np.median(speed))
    middle = median_filter(speed, size=window, mode="nearest")
    padded = np.pad(middle, half, mode="edge")
    return np.asarray(np.maximum(padded[: len(speed)], padded[2 * half :]))


def _scatter(x: Floats, y: Floats) -> float:
    """Return the quick noise of the fixes per axis, from second differences: insensitive to motion and to spikes."""
    if len(x) < 5:
        return 0.0
    bend = np.hypot(np.diff(x, 2), np.diff(y, 2))
    # A second difference of independent noise has sqrt(6) times its standard deviation; the median of a Rayleigh
    # distribution is 1.1774 times its scale.
    return float(min(np.median(bend) / (1.1774 * np.sqrt(6.0)), 5.0))


def _choose_chain(
    places: Floats, clock: Floats, speed: Floats, slack: float, starts: NDArray[np.int64], ends: NDArray[np.int64]
) -> list[int]:
    """Return the runs of the best chain: dynamic programming over runs, some way back only."""
    size = (ends - starts + 1).astype(np.float64)
    best, before = size.copy(), np.full(len(starts), -1)
    for run in range(1, len(starts)):
        earlier = np.arange(max(0, run - _RUNS_LOOKED_BACK), run)
        tail, head = ends[earlier], starts[run]
        gap = np.hypot(*(places[tail] - places[head]).T)
        allowed = slack + _SPEED_ALLOWANCE * np.maximum(speed[tail], speed[head]) * (clock[head] - clock[tail])
        excess = gap - allowed
        cost = np.where(excess > 0.0, np.minimum(_JUMP_COST + _COST_A_METRE * excess, _GREATEST_COST), 0.0)
        total = best[earlier] - cost
        winner = int(np.argmax(total))
        if total[winner] > 0.0:
            best[run] += total[winner]
            before[run] = earlier[winner]
    chain, run = [], int(np.argmax(best))
    while run >= 0:
        chain.append(run)
        run = int(before[run])
    return chain
