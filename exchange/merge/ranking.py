"""Where the spots of a list lie against the perimeter, and in what order they want a person."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from exchange.geo.edge import measure_to_edge
from exchange.model.detections import Detections
from exchange.model.priority import rank_priority

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

PRIORITY, EDGE_DISTANCE, INSIDE = "priority", "edge_distance_m", "inside"
"""Foreign columns of the list."""


def add_priority(spots: Detections, area: BaseGeometry | None = None) -> Detections:
    """Return the list with each spot's place in the order of work, and where it lies against a perimeter.

    The rule is that of ``exchange.model.priority``. Metres to the edge are rounded to decimetres; ``inside`` is
    ``yes`` or ``no``, and nothing for a spot without a position.

    Parameters
    ----------
    spots
        A merged list.
    area
        The perimeter, WGS 84 longitude and latitude in degrees; without one there is no distance.
    """
    marks = {PRIORITY: rank_priority(spots, area)}
    if area is not None and not area.is_empty and len(spots):
        found = measure_to_edge(spots.longitude, spots.latitude, area)
        marks[EDGE_DISTANCE] = np.round(found.distance_m, 1)
        side = np.where(found.is_inside, "yes", "no").astype(object)
        marks[INSIDE] = np.where(np.isnan(found.distance_m), "", side)
    return spots.replace(extra={**spots.extra, **marks})
