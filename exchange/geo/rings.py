"""Rings as RFC 7946 §3.1.6 wants them: closed, wound the right way; and what is wrong with a polygon, by name."""

from __future__ import annotations

from collections.abc import Sequence
from enum import StrEnum
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from exchange.errors import CoordinateError

Floats = NDArray[np.float64]


class DefectKind(StrEnum):
    """Name what can be wrong with a polygon."""

    NOT_FINITE = "a position is not finite"
    OUT_OF_RANGE = "a position is not on the earth"
    TOO_FEW_POSITIONS = "a ring has fewer than four positions"
    NOT_CLOSED = "a ring does not end where it starts"
    NO_AREA = "a ring encloses no area"
    CROSSES_ITSELF = "a ring crosses or touches itself"
    NOT_CUT = "a ring crosses the 180th meridian without being cut there"
    HOLE_OUTSIDE = "a hole is not inside the exterior"
    HOLES_OVERLAP = "two holes overlap"
    PARTS_OVERLAP = "two polygons overlap"


class Defect(NamedTuple):
    """Name one defect of a polygon.

    Parameters
    ----------
    kind
        What is wrong.
    polygon, ring
        Which polygon, and which of its rings: 0 is the exterior, holes follow. Both count from 0.
    position
        Index of the first position at fault in that ring, or ``None`` where the whole ring is meant.
    """

    kind: DefectKind
    polygon: int
    ring: int
    position: int | None = None

    def __str__(self) -> str:
        """Return the defect in words."""
        ring = "the exterior" if self.ring == 0 else f"hole {self.ring}"
        place = f", position {self.position + 1}" if self.position is not None else ""
        return f"{self.kind.value} (polygon {self.polygon + 1}, {ring}{place})"


def close_ring(positions: ArrayLike) -> Floats:
    """Return the positions (n, 2 or 3) as a ring whose last position repeats the first.

    Raises
    ------
    CoordinateError
        If there are fewer than three different positions.

    Examples
    --------
    >>> len(close_ring([(0, 0), (1, 0), (1, 1)]))
    4
    """
    ring = np.asarray(positions, np.float64)
    if len(ring) and not np.array_equal(ring[0], ring[-1]):
        ring = np.concatenate([ring, ring[:1]])
    if len(ring) < 4:
        raise CoordinateError(
            f"a ring of {max(len(ring) - 1, 0)} positions encloses nothing",
            remedy="Give three different positions at least.",
        )
    return ring


def orient(geometry: Any) -> Any:
    """Return a polygon or multipolygon with exteriors counter-clockwise and holes clockwise (RFC 7946 §3.1.6).

    Raises
    ------
    CoordinateError
        If the geometry is of another kind.

    Examples
    --------
    >>> import shapely
    >>> orient(shapely.Polygon([(0, 0), (0, 1), (1, 1), (0, 0)])).exterior.is_ccw
    True
    """
    import shapely

    if geometry.geom_type == "Polygon":
        return geometry if geometry.is_empty else shapely.geometry.polygon.orient(geometry)
    if geometry.geom_type == "MultiPolygon":
        return shapely.MultiPolygon([shapely.geometry.polygon.orient(part) for part in geometry.geoms])
    raise CoordinateError(f"a {geometry.geom_type} has no winding", remedy="Give a Polygon or a MultiPolygon.")


def find_defects(geometry: Any) -> list[Defect]:
    """Return what is wrong with a polygon or multipolygon of degrees; an empty list means nothing is.

    Raises
    ------
    CoordinateError
        If the geometry is of another kind.
    """
    if geometry.geom_type not in ("Polygon", "MultiPolygon"):
        raise CoordinateError(f"a {geometry.geom_type} has no rings", remedy="Give a Polygon or a MultiPolygon.")
    polygons = [part for part in getattr(geometry, "geoms", [geometry]) if not part.is_empty]
    defects = []
    for index, polygon in enumerate(polygons):
        rings = [np.asarray(ring.coords) for ring in (polygon.exterior, *polygon.interiors)]
        defects += find_ring_defects(rings, polygon=index)
    return defects or _find_overlapping_parts(polygons)


def find_ring_defects(rings: Sequence[ArrayLike], *, polygon: int = 0) -> list[Defect]:
    """Return what is wrong with a polygon given as it was written: rings of positions, the exterior first.

    Parameters
    ----------
    rings
        One array (n, 2 or 3) of longitude, latitude and perhaps height for each ring.
    polygon
        The polygon's index, for the defects that are returned.

    Examples
    --------
    >>> for defect in find_ring_defects([[(0, 0), (2, 2), (2, 0), (0, 1), (0, 0)]]):
    ...     print(defect)
    a ring crosses or touches itself (polygon 1, the exterior)
    """
    arrays = [np.atleast_2d(np.asarray(ring, np.float64)) for ring in rings]
    broken = [defect for index, ring in enumerate(arrays) for defect in _check_ring(ring, polygon, index)]
    return broken or _check_holes(arrays, polygon)


def _check_ring(ring: Floats, polygon: int, index: int) -> list[Defect]:
    """Return the first defect of one ring: the checks after it would stumble over it."""
    import shapely

    if len(ring) < 4:
        return [Defect(DefectKind.TOO_FEW_POSITIONS, polygon, index)]
    checks = {
        DefectKind.NOT_FINITE: ~np.isfinite(ring[:, :2]).all(axis=1),
        DefectKind.OUT_OF_RANGE: (np.abs(ring[:, 0]) > 180.0) | (np.abs(ring[:, 1]) > 90.0),
    }
    for kind, is_wrong in checks.items():
        if is_wrong.any():
            return [Defect(kind, polygon, index, int(is_wrong.argmax()))]
    if not np.array_equal(ring[0], ring[-1]):
        return [Defect(DefectKind.NOT_CLOSED, polygon, index, len(ring) - 1)]
    step = np.abs(np.diff(ring[:, 0]))
    is_jump = (step > 180.0) & (step < 360.0)
    if is_jump.any():
        return [Defect(DefectKind.NOT_CUT, polygon, index, int(is_jump.argmax()))]
    linear_ring = shapely.LinearRing(ring[:, :2])
    if shapely.Polygon(linear_ring).area == 0.0:
        return [Defect(DefectKind.NO_AREA, polygon, index)]
    return [] if linear_ring.is_simple else [Defect(DefectKind.CROSSES_ITSELF, polygon, index)]


def _check_holes(rings: Sequence[Floats], polygon: int) -> list[Defect]:
    import shapely

    exterior, *holes = (shapely.Polygon(ring[:, :2]) for ring in rings)
    defects = [
        Defect(DefectKind.HOLE_OUTSIDE, polygon, index)
        for index, hole in enumerate(holes, start=1)
        if not exterior.contains(hole) or exterior.exterior.intersection(hole.exterior).length > 0.0
    ]
    overlaps = sorted({int(max(pair)) + 1 for pair in _overlapping_pairs(holes)})
    return defects + [Defect(DefectKind.HOLES_OVERLAP, polygon, index) for index in overlaps]


def _find_overlapping_parts(polygons: Sequence[Any]) -> list[Defect]:
    later = sorted({int(max(pair)) for pair in _overlapping_pairs(polygons)})
    return [Defect(DefectKind.PARTS_OVERLAP, index, 0) for index in later]


def _overlapping_pairs(polygons: Sequence[Any]) -> list[tuple[int, int]]:
    """Return the pairs of polygons that share more than single points."""
    import shapely

    if len(polygons) < 2:
        return []
    first, second = shapely.STRtree(polygons).query(polygons, predicate="intersects")
    pairs = [(a, b) for a, b in zip(first.tolist(), second.tolist(), strict=True) if a < b]
    return [(a, b) for a, b in pairs if not polygons[a].intersection(polygons[b]).geom_type.endswith("Point")]
