"""Hovers drawn together to one place, and a path thinned to even steps."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]

_HOVER_SPEED_SHARE = 0.3
_HOVER_SECONDS, _ROUNDING_SECONDS = 4.0, 1e-4
_SMOOTHED_OVER_M, _FLOWN_SHARE, _DANCE, _FEWEST_SMOOTHED = 8.0, 0.75, 1.5, 4
_WAIT_WITHIN_M, _FIXES_AWAY, _WAIT_TIMES_PASSING = 15.0, 4, 3.0


def smooth_jitter(xy: Floats) -> Floats:
    """Return a path averaged over some metres where its fixes lie so close that they follow the noise and not the edge.

    A path that is half as long again as the way it makes over those metres dances more than it flies: slow flight
    logged at a high rate. All others are returned as they are.

    Parameters
    ----------
    xy
        Metres, shape (n, 2).
    """
    from scipy.ndimage import uniform_filter1d

    fixes, way = 1, _usual_way_m(xy, 1)
    while way < _SMOOTHED_OVER_M and 4 * fixes < len(xy):
        fixes, way = 2 * fixes, _usual_way_m(xy, 2 * fixes)
    along = np.r_[0.0, np.cumsum(np.hypot(*np.diff(xy, axis=0).T))]
    if fixes < _FEWEST_SMOOTHED or way < _SMOOTHED_OVER_M or np.median(along[fixes:] - along[:-fixes]) <= _DANCE * way:
        return xy
    return np.asarray(uniform_filter1d(xy, size=fixes + 1, axis=0, mode="nearest"))


def _usual_way_m(xy: Floats, fixes: int) -> float:
    """Return how far a path usually comes in so many fixes; hovers, a quarter of a log or more, do not count."""
    if len(xy) <= fixes:
        return 0.0
    return float(np.quantile(np.hypot(*(xy[fixes:] - xy[:-fixes]).T), _FLOWN_SHARE))


def collapse_hovers(xy: Floats, seconds: Floats) -> tuple[Floats, Whole]:
    """Return a path whose slow stretches are their median place each, and the row each place stands for.

    Slow is less than a third of the usual speed, measured over some seconds so that jitter is not taken for flight.

    Parameters
    ----------
    xy
        Metres, shape (n, 2).
    seconds
        Of each fix, rising; with NaN nothing is done.
    """
    rows = np.arange(len(xy))
    if len(xy) < 5 or not np.isfinite(seconds).all():
        return xy, rows
    reach = _HOVER_SECONDS / 2 + _ROUNDING_SECONDS
    before, after = np.searchsorted(seconds, seconds - reach), np.searchsorted(seconds, seconds + reach) - 1
    before, after = np.minimum(before, np.maximum(rows - 1, 0)), np.maximum(after, np.minimum(rows + 1, len(xy) - 1))
    way = np.hypot(*(xy[after] - xy[before]).T)
    speed = way / np.maximum(seconds[after] - seconds[before], 1e-3)
    is_slow = speed < _HOVER_SPEED_SHARE * np.quantile(speed, 0.6)
    return _draw_together(xy, seconds, is_slow)


def waits_seconds(xy: Floats, seconds: Floats) -> tuple[float, float]:
    """Return how long a path stays within some metres of its first and of its last place.

    It is 0 without times, and where the path leaves no slower than it flies elsewhere.
    """
    if len(xy) < 2 or not np.isfinite(seconds).all():
        return 0.0, 0.0
    passing = passing_seconds(xy, seconds, across_m=_WAIT_WITHIN_M)
    waits = _wait_seconds(xy, seconds), _wait_seconds(xy[::-1], seconds[-1] - seconds[::-1])
    first, last = (wait if wait > passing else 0.0 for wait in waits)
    return first, last


def passing_seconds(xy: Floats, seconds: Floats, *, across_m: float) -> float:
    """Return how long a path that does not wait is within so many metres, at a third of its mean speed."""
    way = max(float(np.hypot(*np.diff(xy, axis=0).T).sum()), 1e-9)
    return float(_WAIT_TIMES_PASSING * across_m * (seconds[-1] - seconds[0]) / way)


def _wait_seconds(xy: Floats, seconds: Floats) -> float:
    """Return the time until a path has left its first place for some fixes on end, so that jitter is no take-off."""
    is_away = np.hypot(*(xy - np.median(xy[:5], axis=0)).T) > _WAIT_WITHIN_M
    left = np.convolve(is_away, np.ones(_FIXES_AWAY), "valid") >= _FIXES_AWAY
    return float(seconds[np.argmax(left)] - seconds[0]) if left.any() else 0.0


def thin_path(xy: Floats, step_m: float) -> tuple[Floats, Whole]:
    """Return a path of steps of about `step_m` or more, each place the mean of its fixes, and the first row of each."""
    kept = np.arange(len(xy))
    while len(kept) > 2:
        step = np.hypot(*np.diff(xy[kept], axis=0).T)
        is_close = step < step_m
        # Of neighbours that are all too close every second one goes, so that a pass never takes too much.
        run = np.cumsum(is_close) - np.maximum.accumulate(np.where(is_close, 0, np.cumsum(is_close)))
        drop = is_close & (run % 2 == 1)
        if not drop.any():
            break
        kept = kept[np.r_[True, ~drop]]
    if len(kept) == len(xy):
        return xy, kept
    count = np.diff(np.r_[kept, len(xy)])[:, None]
    return np.add.reduceat(xy, kept, axis=0) / count, kept


def _draw_together(xy: Floats, seconds: Floats, is_slow: NDArray[np.bool_]) -> tuple[Floats, Whole]:
    edges = np.flatnonzero(np.diff(np.r_[False, is_slow, False].astype(np.int8)))
    starts, ends = edges[::2], edges[1::2]
    long = seconds[ends - 1] - seconds[starts] >= _HOVER_SECONDS / 2 - _ROUNDING_SECONDS
    drawn, keep = xy.copy(), np.ones(len(xy), np.bool_)
    for start, end in zip(starts[long], ends[long], strict=True):
        drawn[start] = np.median(xy[start:end], axis=0)
        keep[start + 1 : end] = False
    return drawn[keep], np.flatnonzero(keep)
