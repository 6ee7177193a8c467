"""Where a line or a polygon of degrees meets the 180th meridian, and what it is on either side.

Called by `antimeridian.cut`. Positions are unwrapped first: longitudes run on beyond ±180 without a jump. Then the
unwrapped geometry is taken apart turn by turn of the earth.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Iterable
from itertools import pairwise
from typing import Any, Literal

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


def cut_polygon(polygon: Any, pole: Pole | None) -> Any:
    """Return a polygon cut at the meridian; `antimeridian.cut` tells the rules."""
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
        parts = simple_parts(whole.intersection(window))
        pieces += [move(part, -360.0 * turn) for part in parts if part.geom_type == "Polygon"]
    return pieces


def move(geometry: Any, degrees: float) -> Any:
    """Return the geometry with its longitudes that many degrees further east."""
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
            on_meridian = abs(position[0]) == 180.0
            candidates = [] if on_meridian else own.get(float(position[1]), [])
            index = bisect_left(candidates, position[0] - _LAST_DIGIT_DEGREES)
            if index < len(candidates) and candidates[index] - position[0] < _LAST_DIGIT_DEGREES:
                position[0] = candidates[index]
        return positions

    return shapely.transform(piece, nearest, include_z=piece.has_z)


def cut_line(line: Any) -> Any:
    """Return a line cut at the meridian, its parts in the order of the line."""
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


def simple_parts(geometry: Any) -> list[Any]:
    """Return the geometry's own parts that have no parts themselves."""
    return [geometry] if not hasattr(geometry, "geoms") else [p for g in geometry.geoms for p in simple_parts(g)]
