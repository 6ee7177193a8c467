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
    edge, other_edge = shapely.boundary(area), shapely.boundary(other)
    step = max(_STEP_M, edge.length / _MOST_POINTS)
    lines = shapely.get_parts(edge)
    points = [shapely.line_interpolate_point(line, np.arange(0.0, line.length, step)) for line in lines]
    shapely.prepare(other_edge)
    return shapely.distance(np.concatenate(points), other_edge)
