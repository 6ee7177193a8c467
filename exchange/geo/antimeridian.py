"""The 180th meridian: cut geometries there, join them again, and bound what lies across it."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from exchange.errors import CoordinateError
from exchange.geo.meridian_cut import Pole, cut_line, cut_polygon, move, simple_parts, unwrap, wrap

__all__ = [
    "BoundingBox",
    "Pole",
    "bounding_box",
    "cut",
    "geometry_bounding_box",
    "join",
    "unwrap",
    "wrap",
]

Floats = NDArray[np.float64]


class BoundingBox(NamedTuple):
    """Bound positions as RFC 7946 §5 does; where `west` exceeds `east` the box crosses the 180th meridian."""

    west: float
    south: float
    east: float
    north: float


def bounding_box(longitude: ArrayLike, latitude: ArrayLike) -> BoundingBox:
    """Return the narrowest box around positions in degrees, leaving out those that are NaN (RFC 7946 §5.2).

    Raises
    ------
    CoordinateError
        If there is no position.

    Examples
    --------
    >>> box = bounding_box([177.0, -178.0], [-20.0, -16.0])
    >>> [float(side) for side in box]
    [177.0, -20.0, -178.0, -16.0]
    """
    lon, lat = np.broadcast_arrays(np.asarray(longitude, np.float64), np.asarray(latitude, np.float64))
    known = np.isfinite(lon) & np.isfinite(lat)
    if not known.any():
        raise CoordinateError("there is no position to bound", remedy="Give at least one finite position.")
    lon, lat = wrap(lon[known]), lat[known]
    west, east = _bound_intervals(lon, lon)
    return BoundingBox(west, float(lat.min()), east, float(lat.max()))


def geometry_bounding_box(geometry: Any) -> BoundingBox:
    """Return the narrowest box around a geometry of degrees, edges included (RFC 7946 §5.2).

    Raises
    ------
    CoordinateError
        If the geometry is empty.
    """
    parts = [part.bounds for part in simple_parts(cut(geometry)) if not part.is_empty]
    if not parts:
        raise CoordinateError("an empty geometry has no bounds", remedy="Give a geometry with positions.")
    west, south, east, north = np.array(parts).T
    bound_west, bound_east = _bound_intervals(west, east)
    return BoundingBox(bound_west, float(south.min()), bound_east, float(north.max()))


def cut(geometry: Any, *, pole: Pole | None = None) -> Any:
    """Cut a geometry of degrees at the 180th meridian, as RFC 7946 §3.1.9 asks.

    An edge longer than 180 degrees is read as the short way round; longitudes beyond ±180 are taken as continuous.
    Edges are straight in longitude and latitude. A geometry that does not cross is returned as it is. A polygon
    around a pole is closed along the meridian to that pole. What is cut is wound as §3.1.6 asks.

    Parameters
    ----------
    geometry
        Any shapely geometry; heights are kept, and are interpolated on the meridian.
    pole
        The pole that a polygon around one encloses, where its winding and its latitudes disagree.

    Raises
    ------
    AmbiguityError
        If a polygon goes round the earth and its winding and latitudes do not agree on the pole.
    CoordinateError
        If a polygon that must be cut crosses itself, or a hole goes round the earth.

    Examples
    --------
    >>> import shapely
    >>> cut(shapely.LineString([(170, 45), (-170, 45)])).wkt
    'MULTILINESTRING ((170 45, 180 45), (-180 45, -170 45))'
    """
    import shapely

    kind = geometry.geom_type
    if geometry.is_empty:
        return geometry
    if kind == "Polygon":
        return cut_polygon(geometry, pole)
    if kind in ("LineString", "LinearRing"):
        return cut_line(geometry)
    if kind == "Point":
        return (
            geometry
            if abs(geometry.x) <= 180.0
            else shapely.transform(geometry, _wrap_positions, include_z=geometry.has_z)
        )
    members = list(geometry.geoms)
    parts = [cut(member, pole=pole) for member in members]
    if all(part is member for part, member in zip(parts, members, strict=True)):
        return geometry
    if kind == "GeometryCollection":
        return shapely.GeometryCollection(parts)
    gather = {"MultiPolygon": shapely.MultiPolygon, "MultiLineString": shapely.MultiLineString}
    return gather.get(kind, shapely.MultiPoint)([simple for part in parts for simple in simple_parts(part)])


def join(geometry: Any) -> Any:
    """Return a multipolygon that was cut at the 180th meridian as the whole it was, with longitudes up to 360.

    What does not touch the meridian from both sides is returned as it is; so is a polygon around a pole.

    Examples
    --------
    >>> import shapely
    >>> join(cut(shapely.box(170, 40, 190, 50))).bounds
    (170.0, 40.0, 190.0, 50.0)
    """
    import shapely

    if geometry.geom_type != "MultiPolygon":
        return geometry
    bounds = shapely.bounds(geometry.geoms)
    west, east = bounds[:, 0], bounds[:, 2]
    touches_both_sides = (west == -180.0).any() and (east == 180.0).any()
    if not touches_both_sides or ((west == -180.0) & (east == 180.0)).any():
        return geometry
    moved = [
        move(part, 360.0 if part_west < 0.0 else 0.0) for part, part_west in zip(geometry.geoms, west, strict=True)
    ]
    return shapely.union_all(moved)


def _bound_intervals(west: Floats, east: Floats) -> tuple[float, float]:
    """Return the narrowest arc that holds all arcs; none of them crosses the meridian itself."""
    if east.max() - west.min() <= 180.0:
        return float(west.min()), float(east.max())
    order = np.argsort(west)
    starts, ends = west[order], np.maximum.accumulate(east[order])
    gaps = starts[1:] - ends[:-1]
    # The gap across the meridian wins a tie, so that a box does not cross it without need.
    outer = starts[0] + 360.0 - ends[-1]
    if len(gaps) == 0 or gaps.max() <= outer:
        return float(starts[0]), float(ends[-1])
    widest = int(gaps.argmax())
    return _tidy(float(starts[widest + 1]), float(ends[widest]))


def _tidy(west: float, east: float) -> tuple[float, float]:
    """Return the arc with the meridian named from the inside: [170, -180] is [170, 180]."""
    return (-180.0 if west == 180.0 else west), (180.0 if east == -180.0 else east)


def _wrap_positions(positions: Floats) -> Floats:
    positions[:, 0] = wrap(positions[:, 0])
    return positions
