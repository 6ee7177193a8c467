"""A flight's path, thinned for its shape, and in even steps for its topology."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Path:
    """Hold one flight's path twice.

    Attributes
    ----------
    fine, fine_along
        Places in metres, shape (n, 2), hovers drawn together and thinned, and the metres along the path at each.
    even
        The same path in even steps, shape (m, 2).
    step_m
        Length of an even step.
    speed
        Metres per second at each even step; NaN without times.
    waits, climbs_m
        Seconds spent at the first and last place, and how far they lie below the usual altitude; NaN is not known.
    is_drawn, is_reversed
        Whether it is a drawn line and no log; whether it runs against the flown direction.
    """

    fine: Floats
    fine_along: Floats
    even: Floats
    step_m: float
    speed: Floats
    waits: tuple[float, float] = (0.0, 0.0)
    climbs_m: tuple[float, float] = (np.nan, np.nan)
    is_drawn: bool = False
    is_reversed: bool = False

    def fine_between(self, first: int, last: int) -> Floats:
        """Return the path from one even step to another, backwards where the second comes first."""
        low, high = sorted((first, last))
        start, end = low * self.step_m, high * self.step_m
        rows = slice(*np.searchsorted(self.fine_along, [start + 1e-6, end - 1e-6]))
        path = np.vstack([self.even[low], self.fine[rows], self.even[high]])
        return path if first <= last else path[::-1]

    def fine_of(self, places: Whole) -> Floats:
        """Return the path through even steps that leave out some stretches."""
        if not len(places):
            return np.empty((0, 2))
        cuts = np.flatnonzero(np.diff(places) != 1) + 1
        runs = np.split(places, cuts)
        return np.vstack([self.fine_between(int(run[0]), int(run[-1])) for run in runs])

    def between(self, first: int, last: int) -> Path:
        """Return the path from one even step to a later one; at an end of it nobody is known to have waited."""
        fine = self.fine_between(first, last)
        along = np.r_[0.0, np.cumsum(np.hypot(*np.diff(fine, axis=0).T))]
        rows = slice(first, last + 1)
        return Path(
            fine, along, self.even[rows], float(along[-1] / max(last - first, 1)), self.speed[rows],
            is_drawn=self.is_drawn, is_reversed=self.is_reversed,
        )  # fmt: skip

    def reversed(self) -> Path:
        """Return the same path flown the other way."""
        return Path(
            self.fine[::-1], self.fine_along[-1] - self.fine_along[::-1], self.even[::-1], self.step_m,
            self.speed[::-1], self.waits[::-1], self.climbs_m[::-1], self.is_drawn, not self.is_reversed,
        )  # fmt: skip

    def headings(self) -> Floats:
        """Return the unit vectors along the even steps, as they were flown."""
        ahead = np.gradient(self.even, axis=0) if len(self.even) > 1 else np.zeros((len(self.even), 2))
        flown = -ahead if self.is_reversed else ahead
        return np.asarray(flown / np.maximum(np.hypot(*ahead.T), 1e-9)[:, None])


def to_path(fine: Floats, seconds: Floats, step_m: float) -> Path:
    """Return a path from thinned places and their times."""
    along = np.r_[0.0, np.cumsum(np.hypot(*np.diff(fine, axis=0).T))]
    count = max(1, int(np.ceil(along[-1] / step_m)))
    wanted = np.linspace(0.0, along[-1], count + 1)
    even = np.column_stack([np.interp(wanted, along, fine[:, 0]), np.interp(wanted, along, fine[:, 1])])
    moment = np.interp(wanted, along, seconds)
    with np.errstate(divide="ignore", invalid="ignore"):
        speed = np.gradient(wanted) / np.gradient(moment) if count > 1 else np.full(count + 1, np.nan)
    return Path(fine, along, even, float(along[-1] / count), np.where(np.isfinite(speed), speed, np.nan))
