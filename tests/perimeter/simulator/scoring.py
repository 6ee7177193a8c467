"""How near one area is to another."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray

Floats = NDArray[np.float64]
_STEP_M, _MOST_POINTS = 1.0, 6000


class Score(NamedTuple):
    """Hold how near a found area is to the true one.

    Parameters
    ----------
    iou
        Area of the intersection over that of the union.
    mean_m, p95_m
        Mean and 95th percentile of the distance between the edges, islands' included, taken both ways.
    area_error
        Found area over the true one, less one.
    """

    iou: float
    mean_m: float
    p95_m: float
    area_error: float


def score(found: shapely.Geometry, truth: shapely.Geometry) -> Score:
    """Compare two areas in flat metres."""
    union = shapely.union(found, truth, grid_size=1e-4).area
    both = shapely.intersection(found, truth, grid_size=1e-4).area
    away = np.concatenate([_distances(found, truth), _distances(truth, found)])
    return Score(both / union, float(away.mean()), float(np.percentile(away, 95)), found.area / truth.area - 1.0)


def _distances(area: shapely.Geometry, other: shapely.Geometry) -> Floats:
    """Return the distances from places evenly along the edge of one area to the edge of the other."""
    step = max(_STEP_M, shapely.boundary(area).length / _MOST_POINTS)
    places = np.concatenate([_evenly(line, step) for line in _rings(area)])
    stretches = np.concatenate([np.stack([line[:-1], line[1:]], axis=1) for line in _rings(other)])
    tree = shapely.STRtree(shapely.linestrings(stretches))
    _, distances = tree.query_nearest(shapely.points(places), return_distance=True, all_matches=False)
    return distances


def _rings(area: shapely.Geometry) -> list[Floats]:
    return [shapely.get_coordinates(ring) for part in shapely.get_parts(area) for ring in shapely.get_rings(part)]


def _evenly(line: Floats, step: float) -> Floats:
    positions = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))])
    wanted = np.arange(0.0, positions[-1], step)
    return np.column_stack([np.interp(wanted, positions, column) for column in line.T])


def farthest_m(first: shapely.Geometry, second: shapely.Geometry) -> float:
    """Return the greatest distance between the edges of two areas in flat metres, taken both ways."""
    return float(max(_distances(first, second).max(), _distances(second, first).max()))
