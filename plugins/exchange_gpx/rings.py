"""A perimeter as closed segments of a track that any receiver shows, and back to the exact polygon."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from exchange.errors import MalformedError
from exchange.model import Source, Track
from exchange_gpx.take import COLUMN

if TYPE_CHECKING:
    from shapely.geometry import LinearRing
    from shapely.geometry.base import BaseGeometry

OUTER, HOLE = "outer", "hole"
RINGS, GEOMETRY, BINARY = "rings", "geometry", "wkb"


def list_rings(geometry: BaseGeometry) -> list[tuple[str, LinearRing]]:
    """Return the rings of a polygon or several, each with its role; the holes follow their outer ring."""
    parts = getattr(geometry, "geoms", [geometry])
    rings: list[tuple[str, Any]] = []
    for part in (part for part in parts if not part.is_empty):
        rings += [(OUTER, part.exterior), *((HOLE, ring) for ring in part.interiors)]
    return rings


def build_geometry(taken: dict[str, str], points: Track, source: Source) -> BaseGeometry:
    """Return the polygon, or several, that the house wrote.

    Parameters
    ----------
    taken
        What the track says of itself.
    points
        Its points, a segment for each ring.
    source
        Where it came from.

    Raises
    ------
    MalformedError
        When the rings do not make the geometry that was announced.
    """
    import shapely

    try:
        if binary := taken.get(COLUMN + BINARY):
            return shapely.from_wkb(binary)
        parts = _group_rings(taken.get(COLUMN + RINGS, "").split(), points)
        polygons = [shapely.Polygon(rings[0], rings[1:]) for rings in parts]
        if taken.get(COLUMN + GEOMETRY) == "MultiPolygon":
            return shapely.MultiPolygon(polygons)
        (polygon,) = polygons or [shapely.Polygon()]
        return polygon
    except (ValueError, IndexError, TypeError, shapely.errors.ShapelyError) as error:
        raise MalformedError(
            f"its segments do not make the perimeter they say they are ({error})",
            path=source.file or None,
            layer=source.layer or None,
            record=source.record or None,
            remedy="Take the file from its sender again, or remove the mark of this program to read it as a track.",
        ) from error


def _group_rings(roles: list[str], points: Track) -> list[list[Any]]:
    runs = points.segment_rows()
    if len(runs) != len(roles):
        raise ValueError(f"{len(roles)} rings are announced, {len(runs)} found")
    columns = [points.longitude, points.latitude]
    if not np.isnan(points.altitude).all():
        columns.append(points.altitude)
    positions = np.column_stack(columns)
    parts: list[list[Any]] = []
    for role, rows in zip(roles, runs, strict=True):
        if role == OUTER:
            parts.append([])
        parts[-1].append(positions[rows])
    return parts
