"""The area that a closed path goes around."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from shapely import Polygon

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]

_SLIVER_SHARE = 0.02
# Finer than that nothing is flown, and numbers near zero overflow in divisions.
_MICRON_DIGITS = 6
_MOST_AT_ONCE = 4_000_000


def fill_path(xy: Floats, *, finest_m: float = 0.05) -> list[Polygon]:
    """Return the polygons that a closed path winds around, without holes and slivers, the largest first.

    The path is noded; a face is kept where the winding number is not zero, so that laps and figures of eight come out
    whole. Faces that share an edge are one polygon.

    Parameters
    ----------
    xy
        Metres, shape (n, 2); the last place is joined to the first.
    finest_m
        Bends finer than this are dropped before noding.
    """
    import shapely

    xy = np.round(xy, _MICRON_DIGITS)
    if len(np.unique(xy, axis=0)) < 3:
        return []
    ring = shapely.LinearRing(xy).simplify(finest_m, preserve_topology=False)
    if ring.is_empty or len(ring.coords) < 4:
        return []
    if ring.is_simple:
        polygon = shapely.Polygon(ring)
        return [polygon] if polygon.is_valid and polygon.area > 0.0 else []
    corners = np.asarray(ring.coords)
    lines = shapely.linestrings(np.stack([corners[:-1], corners[1:]], axis=1))
    faces = np.array(shapely.get_parts(shapely.polygonize([shapely.union_all(lines)])))
    if not len(faces):
        return []
    inside = shapely.get_coordinates(shapely.point_on_surface(faces))
    wound = faces[winding_numbers(corners, inside) != 0]
    parts = shapely.get_parts(shapely.union_all(wound)) if len(wound) else []
    polygons = [shapely.Polygon(part.exterior) for part in parts if part.geom_type == "Polygon"]
    largest = max((polygon.area for polygon in polygons), default=0.0)
    return sorted(
        (p for p in polygons if p.is_valid and p.area > _SLIVER_SHARE * largest), key=lambda polygon: -polygon.area
    )


def winding_numbers(ring: Floats, places: Floats) -> Whole:
    """Return how many times a closed ring goes counter-clockwise around each place.

    The ring's crossings of the ray from the place to the east are counted, upward less downward; from D. Sunday,
    'Inclusion of a point in a polygon' (2001), as is common practice.

    Parameters
    ----------
    ring
        Shape (n, 2), the last place equal to the first.
    places
        Shape (m, 2).
    """
    chunk = max(1, _MOST_AT_ONCE // max(len(ring), 1))
    parts = [_wind(ring, places[start : start + chunk]) for start in range(0, len(places), chunk)]
    return np.concatenate([np.empty(0, np.int64), *parts])


def _wind(ring: Floats, places: Floats) -> Whole:
    x, y = places[:, :1], places[:, 1:]
    start, end = ring[:-1], ring[1:]
    up = (start[:, 1] <= y) & (end[:, 1] > y)
    down = (start[:, 1] > y) & (end[:, 1] <= y)
    side = (end[:, 0] - start[:, 0]) * (y - start[:, 1]) - (x - start[:, 0]) * (end[:, 1] - start[:, 1])
    winding: Whole = (up & (side > 0)).sum(axis=1) - (down & (side < 0)).sum(axis=1)
    return winding
