"""The 180th meridian: cut geometries there, join them again, and bound what lies across it."""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Iterable
from itertools import pairwise
from typing import Any, Literal, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from exchange.errors import AmbiguityError, CoordinateError
from exchange.geo.rings import orient

Floats = NDArray[np.float64]
Pole = Literal["north", "south"]

# A vertex nearer than this to the meridian lies on it: 1e-10 degrees are a hundredth of a millimetre.
_ON_MERIDIAN_DEGREES = 1e-10
# Adding and taking away 360 changes a longitude by less than this.
_LAST_DIGIT_DEGREES = 1e-12


class BoundingBox(NamedTuple):
    """Bound positions as RFC 7946 §5 does; where `west` exceeds `east` the box crosses the 180th meridian."""

    west: float
    south: float
    east: float
    north: float


def unwrap(longitude: ArrayLike) -> Floats:
    """Return the longitudes of a path without jumps at the 180th meridian; they may pass ±180. NaN stays NaN.

    Examples
    --------
    >>> unwrap([179.5, -179.5, 179.0])
    array([179.5, 180.5, 179. ])
    """
    lon = np.array(longitude, np.float64)
    known = np.isfinite(lon)
    values = lon[known]
    lon[known] = values + _turns(values, seam_degrees=np.inf)
    return lon


def wrap(longitude: ArrayLike) -> Floats:
    """Return longitudes brought into [-180, 180]; those already in it are not touched."""
    lon = np.array(longitude, np.float64)
    outside = np.abs(lon) > 180.0
    lon[outside] = np.mod(lon[outside] + 180.0, 360.0) - 180.0
    return lon


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
    parts = [part.bounds for part in _simple_parts(cut(geometry)) if not part.is_empty]
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
        return _cut_polygon(geometry, pole)
    if kind in ("LineString", "LinearRing"):
        return _cut_line(geometry)
    if kind == "Point":
        return geometry if abs(geometry.x) <= 180.0 else shapely.transform(geometry, _wrap_positions, include_z=True)
    members = list(geometry.geoms)
    parts = [cut(member, pole=pole) for member in members]
    if all(part is member for part, member in zip(parts, members, strict=True)):
        return geometry
    if kind == "GeometryCollection":
        return shapely.GeometryCollection(parts)
    gather = {"MultiPolygon": shapely.MultiPolygon, "MultiLineString": shapely.MultiLineString}
    return gather.get(kind, shapely.MultiPoint)([simple for part in parts for simple in _simple_parts(part)])


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
        _move(part, 360.0 if part_west < 0.0 else 0.0) for part, part_west in zip(geometry.geoms, west, strict=True)
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


def _turns(longitude: Floats, *, seam_degrees: float) -> Floats:
    """Return the multiple of 360 to add to each longitude; steps of `seam_degrees` or more are left as they are."""
    step = np.diff(longitude)
    is_jump = (np.abs(step) > 180.0) & (np.abs(step) < seam_degrees)
    shift = np.where(is_jump, -360.0 * np.round(step / 360.0), 0.0)
    return np.concatenate([[0.0], np.cumsum(shift)])[: len(longitude)]


def _unwrap_ring(positions: Floats) -> Floats:
    """Return the ring without jumps, and unchanged where there are none.

    An edge of exactly 360 degrees is a band around the earth where no other edge jumps, else a step across the seam.
    """
    if _is_within(positions) and not _turns(positions[:, 0], seam_degrees=360.0).any():
        return positions
    unwrapped = positions.copy()
    unwrapped[:, 0] = _snap_to_meridian(positions[:, 0] + _turns(positions[:, 0], seam_degrees=np.inf))
    return unwrapped


def _snap_to_meridian(longitude: Floats) -> Floats:
    meridian = np.round((longitude + 180.0) / 360.0) * 360.0 - 180.0
    return np.where(np.abs(longitude - meridian) < _ON_MERIDIAN_DEGREES, meridian, longitude)


def _is_within(positions: Floats) -> bool:
    return bool((np.abs(positions[:, 0]) <= 180.0).all())


def _positions(geometry: Any) -> Floats:
    import shapely

    return np.asarray(shapely.get_coordinates(geometry, include_z=bool(geometry.has_z)), np.float64)


def _cut_polygon(polygon: Any, pole: Pole | None) -> Any:
    import shapely

    written = [_positions(ring) for ring in (polygon.exterior, *polygon.interiors)]
    rings = [_unwrap_ring(ring) for ring in written]
    if all(_is_within(ring) and np.array_equal(ring, source) for ring, source in zip(rings, written, strict=True)):
        return polygon
    exterior, *holes = rings
    if any(_turn(hole) for hole in holes):
        raise CoordinateError("a hole goes round the earth", remedy="Split the polygon at the equator first.")
    whole = shapely.Polygon(_close_at_pole(exterior, pole) if _turn(exterior) else exterior)
    _require_valid(whole)
    if holes:
        whole = _subtract(whole, holes)
    pieces = [orient(_put_back(piece, polygon)) for piece in _split_by_window(whole)]
    return pieces[0] if len(pieces) == 1 else shapely.MultiPolygon(pieces)


def _turn(ring: Floats) -> float:
    """Return by how many degrees the unwrapped ring misses its start: 0, or ±360 around a pole."""
    return float(ring[-1, 0] - ring[0, 0])


def _close_at_pole(ring: Floats, pole: Pole | None) -> Floats:
    """Return the ring, begun at the meridian, with the way to the pole and back along the meridian."""
    # Exteriors run counter-clockwise (RFC 7946 §3.1.6): going east, the inside is to the north.
    turn = _turn(ring)
    by_winding: Pole = "north" if turn > 0 else "south"
    nearest: Pole = "north" if ring[:, 1].mean() > 0 else "south"
    if pole is None and by_winding != nearest:
        raise AmbiguityError(
            "a polygon goes round the earth, and its winding and its latitudes name different poles",
            remedy="State the enclosed pole with pole='north' or pole='south'.",
        )
    ring = _insert_crossings(ring)
    first = int(np.flatnonzero(np.mod(ring[:, 0], 360.0) == 180.0)[0])
    later = ring[1 : first + 1].copy()
    later[:, 0] += turn
    begun = np.concatenate([ring[first:], later])
    begun[:, 0] -= begun[0, 0] + math.copysign(180.0, turn)
    corners = begun[[-1, 0]].copy()
    corners[:, 1] = 90.0 if (pole or by_winding) == "north" else -90.0
    return np.concatenate([begun, corners, begun[:1]])


def _subtract(whole: Any, holes: Iterable[Floats]) -> Any:
    """Return the polygon less its holes, wherever on the endless strip of longitudes they were written."""
    import shapely

    copies = []
    for hole in holes:
        for turn in (-360.0, 0.0, 360.0):
            moved = hole.copy()
            moved[:, 0] += turn
            copies.append(shapely.Polygon(moved))
    return whole.difference(shapely.union_all(copies))


def _require_valid(polygon: Any) -> None:
    import shapely

    if not polygon.is_valid:
        raise CoordinateError(
            f"a polygon across the 180th meridian cannot be cut: {shapely.is_valid_reason(polygon)}",
            remedy="Mend the polygon first, so that its rings do not cross.",
        )


def _split_by_window(whole: Any) -> list[Any]:
    """Return the polygons of each turn of the earth that `whole` covers, moved into [-180, 180]."""
    import shapely

    west, south, east, north = whole.bounds
    pieces = []
    for turn in range(math.floor((west + 180.0) / 360.0), math.ceil((east + 180.0) / 360.0)):
        window = shapely.box(360.0 * turn - 180.0, south - 1.0, 360.0 * turn + 180.0, north + 1.0)
        parts = _simple_parts(whole.intersection(window))
        pieces += [_move(part, -360.0 * turn) for part in parts if part.geom_type == "Polygon"]
    return pieces


def _move(geometry: Any, degrees: float) -> Any:
    import shapely

    def shift(positions: Floats) -> Floats:
        positions[:, 0] += degrees
        return positions

    return shapely.transform(geometry, shift, include_z=geometry.has_z) if degrees else geometry


def _put_back(piece: Any, source: Any) -> Any:
    """Return the piece with the source's own longitudes, which adding and taking 360 changed in the last digit."""
    import shapely

    written = _positions(source)
    own: dict[float, list[float]] = {}
    for longitude, latitude in sorted(zip(wrap(written[:, 0]).tolist(), written[:, 1].tolist(), strict=True)):
        own.setdefault(latitude, []).append(longitude)

    def nearest(positions: Floats) -> Floats:
        for position in positions:
            candidates = own.get(float(position[1]), [])
            index = bisect_left(candidates, position[0] - _LAST_DIGIT_DEGREES)
            if index < len(candidates) and candidates[index] - position[0] < _LAST_DIGIT_DEGREES:
                position[0] = candidates[index]
        return positions

    return shapely.transform(piece, nearest, include_z=piece.has_z)


def _cut_line(line: Any) -> Any:
    import shapely

    positions = _positions(line)
    positions[:, 0] = _snap_to_meridian(unwrap(positions[:, 0]))
    if _is_within(positions):
        return line
    parts = [_put_back(shapely.LineString(part), line) for part in _split_path(positions)]
    return parts[0] if len(parts) == 1 else shapely.MultiLineString(parts)


def _split_path(positions: Floats) -> list[Floats]:
    """Return the parts of an unwrapped path, each within one turn of the earth and moved into [-180, 180]."""
    positions = _insert_crossings(positions)
    edge_start, edge_end = positions[:-1, 0], positions[1:, 0]
    turn = np.floor(((edge_start + edge_end) / 2.0 + 180.0) / 360.0)
    for index in np.flatnonzero((edge_start == edge_end) & (np.mod(edge_start, 360.0) == 180.0)):
        # An edge along the meridian is on both sides; it stays with the edge before it.
        turn[index] = turn[index - 1] if index else turn[index]
    breaks = [0, *(np.flatnonzero(np.diff(turn)) + 1), len(turn)]
    parts = [positions[first : last + 1].copy() for first, last in pairwise(breaks)]
    for part, first in zip(parts, breaks, strict=False):
        part[:, 0] -= 360.0 * turn[first]
    return parts


def _insert_crossings(positions: Floats) -> Floats:
    """Return the path with a vertex wherever an edge crosses the meridian, all else interpolated there."""
    low = np.minimum(positions[:-1, 0], positions[1:, 0])
    high = np.maximum(positions[:-1, 0], positions[1:, 0])
    meridian = 360.0 * np.floor((low + 180.0) / 360.0) + 180.0
    index = np.flatnonzero((low < meridian) & (meridian < high))
    start, end = positions[index], positions[index + 1]
    share = (meridian[index] - start[:, 0]) / (end[:, 0] - start[:, 0])
    crossing = start + share[:, np.newaxis] * (end - start)
    crossing[:, 0] = meridian[index]
    return np.insert(positions, index + 1, crossing, axis=0)


def _simple_parts(geometry: Any) -> list[Any]:
    return [geometry] if not hasattr(geometry, "geoms") else [p for g in geometry.geoms for p in _simple_parts(g)]


def _wrap_positions(positions: Floats) -> Floats:
    positions[:, 0] = wrap(positions[:, 0])
    return positions
