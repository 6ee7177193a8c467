"""Fixes that no aircraft can have flown: single spikes and bursts of them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
Whole = NDArray[np.int64]

_WINDOW, _SCATTER_WINDOW = 15, 31
_SPEED_ALLOWANCE, _FORWARD_ALLOWANCE, _SKIP_ALLOWANCE = 1.3, 2.5, 1.15
_FORWARD_COSINE, _COURSE_FIXES = 0.8, 3
_DISTANCE_ALLOWANCE_M, _SCATTERS, _LARGEST_SCATTER_M = 4.0, 4.0, 5.0
# What a jump costs against the fixes that skipping it would lose; metres are told by the usual step.
_JUMP_COST, _COST_A_METRE, _GREATEST_COST, _SMALL_STEP_M = 20.0, 0.5, 300.0, 8.0
_RUNS_LOOKED_BACK, _DROPOUT_INTERVALS = 60, 2.5
_DETOUR_SHARE, _GREATEST_SHARE = 0.1, 0.3

HARDEST_TURN_M_S2: Final = 20.0
"""Twice gravity, a turn at a bank of 64 degrees; pilots fly gentler ones (common practice)."""

_FAST_SHARE, _FEW, _HASTE = 0.9, 5, 2.0
_STAMP_SHARE = 0.15
"""Stamps are only as good as this share of the interval."""


def find_spikes(x: Floats, y: Floats, interval_seconds: Floats) -> Flags:
    """Tell which fixes of an ordered path cannot be reached from, or left for, the rest of it.

    The path is broken at each step that is longer than the speed around it allows; of the runs between, the chain is
    kept that holds the most fixes and jumps the least. So a burst goes as a whole. What was left out is then put back
    where it lies on the way, or where the fastest speed and the hardest turn of an aircraft would do to fly it.

    Parameters
    ----------
    x, y
        Metres, in flown order.
    interval_seconds
        Of each step, one fewer than the fixes.
    """
    if len(x) < 3:
        return np.zeros(len(x), np.bool_)
    places = np.column_stack([x, y])
    if tuple(places[-1]) < tuple(places[0]):
        # Of two runs as good the first is kept: which is first must not rest on the direction flown.
        return _find_spikes(places[::-1], interval_seconds[::-1])[::-1]
    return _find_spikes(places, interval_seconds)


@dataclass(frozen=True, eq=False)
class _Motion:
    """Hold how each fix was come to and left: place, moment, speed and scatter around it, and the course by fixes."""

    places: Floats
    clock: Floats
    speed: Floats
    slack: Floats
    is_hard: Flags
    coming: Floats
    going: Floats

    def excess_m(self, tail: Whole, head: Whole) -> Floats:
        """Return how much farther one fix lies from another than is flown meanwhile: farther ahead than aside."""
        way = self.places[head] - self.places[tail]
        length = np.hypot(way[:, 0], way[:, 1])
        ahead = _FORWARD_COSINE * length
        is_forward = ((way * self.coming[tail]).sum(axis=1) > ahead) & ((way * self.going[head]).sum(axis=1) > ahead)
        flown = np.maximum(self.speed[tail], self.speed[head]) * (self.clock[head] - self.clock[tail])
        aside = np.where(head - tail > 1, _SKIP_ALLOWANCE, _SPEED_ALLOWANCE)
        allowance = np.where(is_forward, _FORWARD_ALLOWANCE, aside)
        return np.asarray(length - np.maximum(self.slack[tail], self.slack[head]) - allowance * flown)


def _find_spikes(places: Floats, interval_seconds: Floats) -> Flags:
    motion = _to_motion(places, interval_seconds)
    rows = np.arange(len(places))
    excess = motion.excess_m(rows[:-1], rows[1:])
    if not (excess > 0.0).any():
        return np.zeros(len(places), np.bool_)
    starts = np.r_[0, np.flatnonzero(_may_be_cut(motion, excess, interval_seconds)) + 1]
    ends = np.r_[starts[1:], len(places)] - 1
    is_kept_run = np.zeros(len(starts), np.bool_)
    is_kept_run[_choose_chain(motion, starts, ends)] = True
    is_dropped = np.repeat(~is_kept_run, ends - starts + 1)
    for is_flown in (_lies_on_the_way, _can_be_flown):
        is_dropped = _put_back(motion, is_dropped, is_flown)
    # Where so much would go, the log moves by jumps: a car that stops and goes, or fixes far apart.
    return is_dropped if is_dropped.mean() <= _GREATEST_SHARE else np.zeros(len(places), np.bool_)


def _to_motion(places: Floats, interval_seconds: Floats) -> _Motion:
    step = np.hypot(*np.diff(places, axis=0).T)
    speed = _speed_around(step / interval_seconds)
    rows = np.arange(len(places))
    noise = _SCATTERS * _scatter_m(places)
    return _Motion(
        places,
        np.r_[0.0, np.cumsum(interval_seconds)],
        np.maximum(np.r_[speed, speed[-1]], np.r_[speed[0], speed]),
        _DISTANCE_ALLOWANCE_M + noise,
        _is_hard(places, interval_seconds, speed, noise),
        _unit(places - places[np.maximum(rows - _COURSE_FIXES, 0)]),
        _unit(places[np.minimum(rows + _COURSE_FIXES, len(places) - 1)] - places),
    )


def _is_hard(places: Floats, interval_seconds: Floats, speed: Floats, noise_m: Floats) -> Flags:
    """Tell at which fixes no aircraft can turn or brake as the path does: farther off the chord of its neighbours."""
    before, after = interval_seconds[:-1], interval_seconds[1:]
    chord = places[:-2] + (before / (before + after))[:, None] * (places[2:] - places[:-2])
    away = np.hypot(*(places[1:-1] - chord).T)
    # Under a steady acceleration a the middle of three fixes lies a/2 times both intervals beside the chord.
    turned = 0.5 * HARDEST_TURN_M_S2 * before * after
    late = _STAMP_SHARE * np.maximum(speed[:-1], speed[1:]) * np.minimum(before, after)
    return np.asarray(np.r_[False, away > 1.0 + noise_m[1:-1] + turned + late, False])


def _unit(way: Floats) -> Floats:
    return np.asarray(way / np.maximum(np.hypot(way[:, 0], way[:, 1]), 1e-9)[:, None])


def _speed_around(speed: Floats) -> Floats:
    """Return the greater of the median speeds before and after each step, so that a change of speed is no break."""
    from scipy.ndimage import median_filter

    half = _WINDOW // 2
    if len(speed) < _WINDOW:
        return np.full(len(speed), np.median(speed))
    padded = np.pad(median_filter(speed, size=_WINDOW, mode="nearest"), half, mode="edge")
    return np.asarray(np.maximum(padded[: len(speed)], padded[2 * half :]))


def _scatter_m(places: Floats) -> Floats:
    """Return the quick noise around each fix per axis, from second differences: insensitive to motion and to spikes."""
    from scipy.ndimage import percentile_filter

    if len(places) < 5:
        return np.zeros(len(places))
    bend = np.hypot(*np.diff(places, 2, axis=0).T)
    around = percentile_filter(bend, 25, size=min(_SCATTER_WINDOW, len(bend)), mode="mirror")
    # A second difference of independent noise has sqrt(6) times its standard deviation; the quartile of a Rayleigh
    # distribution is 0.7585 times its scale, and no spikes less than half of all fixes reach it.
    scatter = np.maximum(around, np.quantile(bend, 0.25)) / (0.7585 * np.sqrt(6.0))
    return np.asarray(np.minimum(np.pad(scatter, 1, mode="edge"), _LARGEST_SCATTER_M))


def _may_be_cut(motion: _Motion, excess_m: Floats, interval_seconds: Floats) -> Flags:
    """Tell at which steps a run may end: at those too long, and where a spike could hide at one end of a run.

    A spike towards the flown line, or after a dropout, breaks the path on one of its sides only.
    """
    is_break = excess_m > 0.0
    is_beside = motion.is_hard[:-1] | motion.is_hard[1:]
    is_doubtful = excess_m + np.maximum(motion.slack[:-1], motion.slack[1:]) / 2.0 > 0.0
    is_late = interval_seconds > _DROPOUT_INTERVALS * np.median(interval_seconds)
    return is_break | is_beside | is_doubtful | is_late


def _choose_chain(motion: _Motion, starts: Whole, ends: Whole) -> list[int]:
    """Return the runs of the best chain: dynamic programming over runs, some way back only."""
    usual = float(np.median(np.hypot(*np.diff(motion.places, axis=0).T)))
    cost_a_metre = _COST_A_METRE * _SMALL_STEP_M / max(_SMALL_STEP_M, usual)
    best, before = (ends - starts + 1).astype(np.float64), np.full(len(starts), -1)
    for run in range(1, len(starts)):
        earlier = np.arange(max(0, run - _RUNS_LOOKED_BACK), run)
        excess = motion.excess_m(ends[earlier], np.full(len(earlier), starts[run]))
        cost = np.where(excess > 0.0, np.minimum(_JUMP_COST + cost_a_metre * excess, _GREATEST_COST), 0.0)
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


@dataclass(frozen=True, eq=False)
class _Gaps:
    """Hold the stretches that were left out: first and last fix of each, and the kept fixes beside it."""

    first: Whole
    last: Whole
    before: Whole
    after: Whole


def _put_back(motion: _Motion, is_dropped: Flags, is_flown: Callable[[_Motion, _Gaps], Flags]) -> Flags:
    """Return what stays left out when the stretches that a rule calls flown are put back."""
    edges = np.flatnonzero(np.diff(np.r_[False, is_dropped, False].astype(np.int8)))
    first, last = edges[::2], edges[1::2] - 1
    gaps = _Gaps(first, last, np.maximum(first - 1, 0), np.minimum(last + 1, len(is_dropped) - 1))
    marks = np.zeros(len(is_dropped) + 1, np.int64)
    stays = ~is_flown(motion, gaps)
    marks[first[stays]] += 1
    marks[last[stays] + 1] -= 1
    return np.asarray(np.cumsum(marks)[:-1] > 0)


def _lies_on_the_way(motion: _Motion, gaps: _Gaps) -> Flags:
    """Tell which stretches lie between their neighbours: a fast step or a stop, which aircraft do fly."""
    along = np.r_[0.0, np.cumsum(np.hypot(*np.diff(motion.places, axis=0).T))]
    direct = np.hypot(*(motion.places[gaps.after] - motion.places[gaps.before]).T)
    detour = along[gaps.after] - along[gaps.before] - direct
    is_between = (gaps.before < gaps.first) & (gaps.after > gaps.last)
    return np.asarray(is_between & (detour <= np.maximum(motion.slack[gaps.before], _DETOUR_SHARE * direct)))


def _can_be_flown(motion: _Motion, gaps: _Gaps) -> Flags:
    """Tell which stretches ask for no more than the fastest speed of the flight and the hardest turn of an aircraft."""
    from scipy.ndimage import median_filter

    interval, step = np.diff(motion.clock), np.hypot(*np.diff(motion.places, axis=0).T)
    speed = step / interval
    fast = float(np.quantile(median_filter(speed, size=min(_FEW, len(speed)), mode="nearest"), _FAST_SHARE))
    # Both the whole stretch and the steps to it and from it must be within reach.
    along, excess = np.r_[0.0, np.cumsum(step)], np.r_[0.0, step - _HASTE * fast * interval]
    seconds = motion.clock[gaps.after] - motion.clock[gaps.before]
    slack = motion.slack[gaps.before] + motion.slack[gaps.after]
    is_slow = along[gaps.after] - along[gaps.before] <= slack + _SPEED_ALLOWANCE * fast * seconds
    is_slow &= np.maximum(excess[gaps.first], excess[gaps.after]) <= slack / 2.0
    hard = np.r_[0, np.cumsum(motion.is_hard)]
    return np.asarray(is_slow & (hard[gaps.last + 1] == hard[gaps.first]))
