"""Rows in the order they were flown, and the seconds from each to the next."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]
Flags = NDArray[np.bool_]

# A longer interval tells nothing of the speed: the receiver was off, or its clock jumped.
LONGEST_INTERVAL_SECONDS = 30.0
_ROUNDING = 1.0 + 1e-9


def order_rows(x: Floats, y: Floats, seconds: Floats) -> Whole:
    """Return the order of one track's rows: by time where that makes the path shorter, as they came where not.

    A clock that jumped back would else tear the path apart; rows without times stay as they came. Rows that were
    written last first make a path as long by time, and are turned round.
    """
    given = np.arange(len(x))
    if len(x) < 3 or not np.isfinite(seconds).all() or (np.diff(seconds) >= 0.0).all():
        return given
    by_time = np.argsort(seconds, kind="stable")
    return by_time if _path_length(x[by_time], y[by_time]) <= _ROUNDING * _path_length(x, y) else given


def intervals_seconds(seconds: Floats, *, longest_seconds: float = LONGEST_INTERVAL_SECONDS) -> Floats:
    """Return the seconds of each step of a path in order; one for each step where there are no times.

    Stamps that repeat, as those of a fast log written in whole seconds, share their second evenly. A clock that jumps
    back takes the usual interval, one that jumps ahead at most `longest_seconds`.
    """
    if len(seconds) < 2:
        return np.empty(0)
    if not np.isfinite(seconds).all():
        return np.ones(len(seconds) - 1)
    step = np.diff(_spread_equal_stamps(seconds))
    forward = step[step > 0.0]
    usual = float(np.median(forward)) if len(forward) else 1.0
    return np.clip(np.where(step > 0.0, step, usual), 1e-3, max(longest_seconds, usual))


def find_repeats(x: Floats, y: Floats, seconds: Floats) -> tuple[Flags, Flags]:
    """Tell which rows of an ordered path repeat the one beside it: with its time, and frozen while time went on.

    Of rows in one place the first is kept; the last, where the way to the place is longer than the way from it. So the
    time that passed goes to the step that needs it, and the direction of the path changes nothing.
    """
    is_same = (np.diff(x) == 0.0) & (np.diff(y) == 0.0)
    edges = np.flatnonzero(np.diff(np.r_[False, is_same, False].astype(np.int8)))
    first, last = edges[::2], edges[1::2]
    step = np.r_[0.0, np.hypot(np.diff(x), np.diff(y)), 0.0]
    kept = np.where(step[last + 1] >= step[first], first, last)
    is_dropped, is_before = np.zeros((2, len(x)), np.bool_)
    is_dropped[1:] |= is_same
    is_dropped[:-1] |= is_same
    is_dropped[kept] = False
    is_before[: len(is_same)] = is_same & _is_within(first, np.where(kept == last, last, first), len(is_same))
    towards = np.arange(len(x)) + np.where(is_before, 1, -1)
    is_frozen = is_dropped & (np.abs(seconds - seconds[np.clip(towards, 0, len(x) - 1)]) > 0.0)
    return is_dropped & ~is_frozen, is_frozen


def _is_within(first: Whole, end: Whole, count: int) -> Flags:
    """Tell which of so many rows lie from one of the first rows to before its end."""
    marks = np.zeros(count + 1, np.int64)
    np.add.at(marks, first, 1)
    np.add.at(marks, end, -1)
    return np.asarray(np.cumsum(marks)[:-1] > 0)


def _path_length(x: Floats, y: Floats) -> float:
    return float(np.hypot(np.diff(x), np.diff(y)).sum())


def _spread_equal_stamps(seconds: Floats) -> Floats:
    """Return times in which rows of one stamp lie evenly about it, the same from whichever end they are read."""
    is_new = np.r_[True, np.diff(seconds) != 0.0]
    if is_new.all():
        return seconds
    first = np.flatnonzero(is_new)
    stamps, last = seconds[first], np.r_[first[1:], len(seconds)] - 1
    if len(stamps) < 2:
        return seconds + np.arange(len(seconds)) / len(seconds)
    middle, usual = (first + last) / 2.0, float(np.median(np.diff(stamps)))
    rows, ends = np.arange(len(seconds)), (stamps[0] - usual, stamps[-1] + usual)
    before, after = middle[0] - (last[0] - first[0] + 1), middle[-1] + (last[-1] - first[-1] + 1)
    return np.interp(rows, np.r_[before, middle, after], np.r_[ends[0], stamps, ends[1]])
