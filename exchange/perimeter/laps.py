"""A ring moved to the mean of all passes that run along it."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from exchange.perimeter.shapes import measure_along, places_at

Floats = NDArray[np.float64]

_STEP_M = 2.0
_MOST_STEPS = 60_000
_SMOOTH_M = 12.0
# Each border is a ramp, so that a place a hair on either side of it changes nothing by more than a hair.
_PARALLEL_COSINE = 0.80, 0.90
_NEAR_SHARE = 1.0, 0.8
_SHARED_PASSES = 1.2, 1.8


class Averaged(NamedTuple):
    """Hold a ring after averaging.

    Parameters
    ----------
    ring
        Metres, shape (n, 2), not closed; the given one itself where no stretch was flown twice.
    passes
        How many passes ran along each place.
    scatter_m
        Standard deviation of one pass across the ring, NaN where there was one pass only.
    """

    ring: Floats
    passes: Floats
    scatter_m: float


def average_passes(ring: Floats, places: Floats, headings: Floats, step_m: float, *, within_m: float) -> Averaged:
    """Return a ring moved sideways to the mean of the flown places that run along it.

    Parameters
    ----------
    ring
        Metres, shape (n, 2), not closed.
    places, headings
        Flown places and unit vectors along the path there, shape (m, 2), even steps, the ring's own included.
    step_m
        From one flown place to the next.
    within_m
        How far from the ring a pass may run.
    """
    from scipy.spatial import cKDTree

    even, step = _even_steps(ring)
    ahead = np.roll(even, -1, axis=0) - np.roll(even, 1, axis=0)
    ahead /= np.maximum(np.hypot(*ahead.T), 1e-9)[:, None]
    normal = np.column_stack([-ahead[:, 1], ahead[:, 0]])
    distance, node = cKDTree(even).query(places, distance_upper_bound=within_m)
    near = np.flatnonzero(np.isfinite(distance))
    node = node[near]
    cosine = np.abs((headings[near] * ahead[node]).sum(axis=1))
    weight = _ramp(cosine, *_PARALLEL_COSINE) * _ramp(distance[near] / within_m, *_NEAR_SHARE)
    offset = ((places[near] - even[node]) * normal[node]).sum(axis=1)
    width = max(1, round(_SMOOTH_M / step))
    count = _smooth(_sum_at(node, weight, len(even)), width)
    total = _smooth(_sum_at(node, weight * offset, len(even)), width)
    passes = count * step_m / step
    share = _ramp(passes, *_SHARED_PASSES)
    if not share.any():
        return Averaged(ring, passes, float("nan"))
    moved = share * total / np.maximum(count, 1e-9)
    is_shared, is_along = share > 0.5, weight > 0.5
    node, offset = node[is_along], offset[is_along]
    spread = _spread(offset, node, is_shared, moved)
    return Averaged(even + _smooth(moved, width)[:, None] * normal, passes, spread)


def _even_steps(ring: Floats) -> tuple[Floats, float]:
    closed = np.vstack([ring, ring[:1]])
    along = measure_along(closed)
    count = min(max(8, round(along[-1] / _STEP_M)), _MOST_STEPS)
    wanted = np.linspace(0.0, along[-1], count, endpoint=False)
    return places_at(closed, along, wanted), float(along[-1] / count)


def _sum_at(node: NDArray[np.int64], values: Floats, count: int) -> Floats:
    return np.bincount(node, values, minlength=count).astype(np.float64)


def _ramp(values: Floats, none: float, whole: float) -> Floats:
    """Return 0 from one value on, 1 from the other on, and evenly between."""
    return np.clip((values - none) / (whole - none), 0.0, 1.0)


def _smooth(values: Floats, width: int) -> Floats:
    from scipy.ndimage import uniform_filter1d

    return np.asarray(uniform_filter1d(values, size=min(2 * (width // 2) + 1, len(values)), mode="wrap"))


def _spread(offset: Floats, node: NDArray[np.int64], is_shared: NDArray[np.bool_], mean: Floats) -> float:
    chosen = is_shared[node]
    if chosen.sum() < 20:
        return float("nan")
    rest = offset[chosen] - mean[node[chosen]]
    # The median of absolute departures, scaled to a normal distribution; of two passes half the variance is lost.
    return float(np.sqrt(2.0) * 1.4826 * np.median(np.abs(rest)))
