"""A polygon with fewer vertices, within a stated distance, that stays a polygon."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

_ROUNDS = 40


def simplify_polygon(geometry: BaseGeometry, *, within_m: float, max_vertices: int | None = None) -> Any:
    """Return a polygon or multipolygon in metres simplified within a distance.

    No ring crosses itself or another, and none is lost (GEOS's topology-preserving form of D. Douglas and T. Peucker,
    'Algorithms for the reduction of the number of points', 1973). With `max_vertices` the distance grows until they
    suffice; every ring keeps four positions at least.
    """
    found = geometry.simplify(within_m, preserve_topology=True)
    if max_vertices is None or count_vertices(found) <= max_vertices:
        return found
    low, high = within_m, max(2.0 * within_m, 0.1)
    while count_vertices(geometry.simplify(high)) > max_vertices and high < 1e6:
        low, high = high, 2.0 * high
    for _ in range(_ROUNDS):
        middle = (low + high) / 2.0
        if count_vertices(geometry.simplify(middle)) > max_vertices:
            low = middle
        else:
            high = middle
        if high - low < 1e-3 * high:
            break
    return geometry.simplify(high, preserve_topology=True)


def count_vertices(geometry: BaseGeometry) -> int:
    """Return the number of positions, the one that closes a ring not counted."""
    import shapely

    rings = shapely.get_rings(geometry)
    return int(shapely.get_num_points(rings).sum() - len(rings))
