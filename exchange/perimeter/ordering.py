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


def find_repeats(longitude: Floats, latitude: Floats, seconds: Floats) -> tuple[Flags, Flags]:
    """Tell which rows of an ordered path repeat the one before: with its time, and frozen while time went on."""
    is_same_place = np.zeros(len(longitude), np.bool_)
    is_same_place[1:] = (np.diff(longitude) == 0.0) & (np.diff(latitude) == 0.0)
    is_same_time = np.ones(len(longitude), np.bool_)
    is_same_time[1:] = ~(np.abs(np.diff(seconds)) > 0.0)
    return is_same_place & is_same_time, is_same_place & ~is_same_time


def _path_length(x: Floats, y: Floats) -> float:
    return float(np.hypot(np.diff(x), np.diff(y)).sum())


def _spread_equal_stamps(seconds: Floats) -> Floats:
    is_new = np.r_[True, np.diff(seconds) != 0.0]
    if is_new.all():
        return seconds
    rows = np.arange(len(seconds))
    first = rows[is_new]
    last_second = seconds[-1] + np.median(np.diff(seconds[is_new])) if len(first) > 1 else seconds[-1] + 1.0
    return np.interp(rows, np.r_[first, len(seconds)], np.r_[seconds[first], last_second])
