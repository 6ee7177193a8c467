"""The noise of the fixes, the error to expect of the edge, and what it means for the area."""

from __future__ import annotations

import math
from typing import Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

USUAL_SLOW_ERROR_M: Final = 1.2
"""Slow error of a receiver per axis, which a single pass cannot show (common practice)."""

TIMES_95: Final = 1.9600
"""Two-sided 95 % of a normal distribution (NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.6.7.1)."""

CAMERA_ANGLE_ERROR_DEGREES: Final = 2.0
CORRELATED_OVER_M: Final = 100.0
"""Stretch of the edge over which the error keeps its sign, from a slow error of some ten seconds."""

_WINDOW_SECONDS, _LEAST_FIXES, _MOST_FIXES = 3.0, 5, 101


def measure_noise_m(xy: Floats, interval_seconds: Floats, track: NDArray[np.int64]) -> float:
    """Return how far fixes lie from a straight line through their neighbours of some seconds, metres per axis.

    It is the part of the noise that changes within seconds; a receiver's slow error does not show in one pass.

    Parameters
    ----------
    xy
        Metres, shape (n, 2), track by track in flown order.
    interval_seconds
        From the fix before.
    track
        Which source track.
    """
    flown = interval_seconds[interval_seconds > 0.0]
    usual = float(np.median(flown)) if len(flown) else 1.0
    half = int(np.clip(round(_WINDOW_SECONDS / usual), _LEAST_FIXES, _MOST_FIXES)) // 2
    if len(xy) < 2 * half + 9:
        return math.nan
    middle, before, after = xy[half:-half], xy[: -2 * half], xy[2 * half :]
    rest = (middle - (before + after) / 2)[track[: -2 * half] == track[2 * half :]]
    if len(rest) < 8:
        return math.nan
    # Of independent noise the difference has sqrt(1.5) times the deviation; the median of a Rayleigh distribution is
    # 1.1774 times its scale.
    return float(np.median(np.hypot(rest[:, 0], rest[:, 1])) / (1.1774 * math.sqrt(1.5)))


def expect_error_m(noise_m: float, scatter_m: float, laps: int, simplify_m: float, moved_m: float) -> float:
    """Return the distance that holds the true edge 95 times in 100, as far as the log can tell.

    Parameters
    ----------
    noise_m
        Of the fixes, as it shows within seconds; NaN is not known.
    scatter_m
        Of one pass against the mean of all; NaN where there is one only.
    laps
        Passes that were averaged.
    simplify_m
        By how much the line was simplified at most.
    moved_m
        Distance from the flown line to where the camera looked.
    """
    slow = max(USUAL_SLOW_ERROR_M, 1.5 * noise_m) if math.isfinite(noise_m) else USUAL_SLOW_ERROR_M
    one_pass = max(slow, scatter_m) if math.isfinite(scatter_m) else slow
    # At 45 degrees an angle that is wrong by a radian would move the edge by twice the distance.
    camera = 2.0 * math.radians(CAMERA_ANGLE_ERROR_DEGREES) * moved_m
    return math.hypot(TIMES_95 * one_pass / math.sqrt(max(laps, 1)), TIMES_95 * camera, simplify_m)


def area_error_m2(error_m: float, length_m: float) -> float:
    """Return what an error of the edge means for the area, 95 times in 100, square metres.

    The error is independent from one stretch to the next, so that it partly cancels: the stretch times the error times
    the root of the number of stretches (error propagation, common practice).
    """
    stretch = min(CORRELATED_OVER_M, length_m)
    return error_m * stretch * math.sqrt(max(length_m / max(stretch, 1e-9), 1.0))
