"""A polygon with fewer vertices, within a stated distance, that stays a polygon."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from exchange.geo.frame import LocalFrame

_ROUNDS, _TRIES = 40, 8


def simplify_polygon(geometry: BaseGeometry, *, within_m: float, max_vertices: int | None = None) -> Any:
    """Return a polygon or multipolygon in metres simplified within a distance.

    No ring crosses itself or another, and none is lost (GEOS's topology-preserving form of D. Douglas and T. Peucker,
    'Algorithms for the reduction of the number of points', 1973). With `max_vertices` the distance grows until they
    suffice; every ring keeps three vertices at least, so that a limit of fewer is not kept.
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


def simplify_to_degrees(
    frame: LocalFrame, geometry: BaseGeometry, *, within_m: float, max_vertices: int | None = None
) -> Any:
    """Return a polygon or multipolygon in degrees, simplified within a distance, wound as RFC 7946 asks.

    A cut at the 180th meridian adds vertices, which count among `max_vertices`.

    Raises
    ------
    AmbiguityError, CoordinateError
        If degrees cannot hold the polygon, as `exchange.geo.rings.orient` and `LocalFrame.geometry_to_degrees` say.
    """
    from exchange.geo.rings import orient

    most = max_vertices
    for _ in range(_TRIES):
        simplified = simplify_polygon(geometry, within_m=within_m, max_vertices=most)
        drawn = orient(frame.geometry_to_degrees(simplified))
        if most is None or max_vertices is None or count_vertices(drawn) <= max_vertices:
            break
        most -= count_vertices(drawn) - max_vertices
    return drawn


def measure_moved_m(frame: LocalFrame, geometry: BaseGeometry, simplified: BaseGeometry) -> float:
    """Return how far the edge of a geometry in metres lies at most from that of its simplified one in degrees."""
    import shapely

    places = shapely.points(shapely.get_coordinates(shapely.boundary(geometry)))
    return float(shapely.distance(places, shapely.boundary(frame.geometry_to_metres(simplified))).max())


def count_vertices(geometry: BaseGeometry) -> int:
    """Return the number of positions, the one that closes a ring not counted."""
    import shapely

    # Of a multipolygon itself get_rings finds none.
    rings = shapely.get_rings(shapely.get_parts(geometry))
    return int(shapely.get_num_points(rings).sum() - len(rings))
