"""How many even bends a stretch of a flown line is made of: a way has one or few, an edge many."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]

_GRID_M = 20.0
_SAMPLES = 32
_DEGREE = 3
_DETOUR, _DETOUR_M = 1.6, 15.0
_DEPARTURE_M, _DEPARTURE_SHARE, _MOST_M = 1.5, 0.010, 5.0


class Bends:
    """Count the even bends of any stretch of a line in even steps."""

    def __init__(self, xy: Floats, step_m: float) -> None:
        self._count, self._step_m = len(xy), step_m
        self._grid = max(1, round(_GRID_M / step_m))
        self._starts = np.arange(0, max(len(xy) - 1, 1), self._grid)
        self._reach = _find_reach(xy, self._starts, step_m)

    def reach_from(self, place: int, *, ahead: bool = False) -> int:
        """Return the last place of the longest even bend that begins shortly before a place, or shortly after it."""
        start = (place + (self._grid - 1 if ahead else 0)) // self._grid
        return int(self._reach[min(start, len(self._reach) - 1)])

    def lengths_m(self) -> Floats:
        """Return for each place the length of the longest even bend that it lies on."""
        lengths = np.zeros(self._count)
        whole = (self._reach - self._starts) * self._step_m
        for row in np.argsort(whole, kind="stable"):
            lengths[self._starts[row] : self._reach[row] + 1] = whole[row]
        return lengths

    def count(self, first: int, last: int) -> float:
        """Return the number of bends from one place to another, the last in part."""
        at, bends = first, 0.0
        while at < last:
            reach = max(self.reach_from(at), at + 1)
            if reach >= last:
                return bends + max(0.5, (last - at) / max(reach - at, 1)) if bends else 1.0
            bends, at = bends + 1.0, reach
        return bends


def _find_reach(xy: Floats, starts: Whole, step_m: float) -> Whole:
    """Return the last place of the longest even bend from each start on, by bisection of its length."""
    low = np.minimum(starts + 4, len(xy) - 1)
    high = np.full(len(starts), len(xy) - 1)
    length = np.full(len(starts), 8)
    good = low.copy()
    # Doubled until it is no even bend any more, then halved between.
    is_open = np.ones(len(starts), np.bool_)
    while is_open.any():
        ends = np.minimum(starts + length, len(xy) - 1)
        fits = _is_bend(xy, starts, ends, step_m)
        good = np.where(is_open & fits, ends, good)
        high = np.where(is_open & ~fits, ends, high)
        is_open &= fits & (ends < len(xy) - 1)
        length = length * 2
    low = good
    for _ in range(7):
        middle = (low + high) // 2
        fits = _is_bend(xy, starts, middle, step_m)
        low, high = np.where(fits, middle, low), np.where(fits, high, middle)
    return np.asarray(low)


def _is_bend(xy: Floats, starts: Whole, ends: Whole, step_m: float) -> NDArray[np.bool_]:
    share = np.linspace(0.0, 1.0, _SAMPLES)
    basis = np.linalg.qr(np.vander(share, _DEGREE + 1))[0]
    rows = np.rint(starts[:, None] + share * (ends - starts)[:, None]).astype(np.int64)
    sampled = xy[rows] - xy[starts][:, None]
    rest = sampled - (basis @ basis.T) @ sampled
    departure = np.sqrt((rest**2).sum(axis=2).mean(axis=1))
    length = step_m * (ends - starts)
    is_direct = length <= _DETOUR * np.hypot(*(xy[ends] - xy[starts]).T) + _DETOUR_M
    return np.asarray((departure <= np.minimum(_DEPARTURE_M + _DEPARTURE_SHARE * length, _MOST_M)) & is_direct)
