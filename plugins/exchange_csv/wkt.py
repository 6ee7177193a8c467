"""Polygons as well-known text whose numbers read back the same; shapely's own writer rounds to 16 digits."""

from __future__ import annotations

from typing import Any


def write_wkt(geometry: Any) -> str:
    """Return a polygon or multipolygon as WKT (OGC 06-103r4, section 7), every number shortest and exact.

    >>> from shapely.geometry import Polygon
    >>> write_wkt(Polygon([(0, 0), (1, 0), (0, 0.1 + 0.2)]))
    'POLYGON ((0.0 0.0, 1.0 0.0, 0.0 0.30000000000000004, 0.0 0.0))'
    """
    tag = geometry.geom_type.upper() + (" Z" if geometry.has_z else "")
    if geometry.is_empty:
        return f"{tag} EMPTY"
    polygons = getattr(geometry, "geoms", None)
    if polygons is None:
        return f"{tag} {_write_polygon(geometry)}"
    return f"{tag} ({', '.join(map(_write_polygon, polygons))})"


def _write_polygon(polygon: Any) -> str:
    return f"({', '.join(map(_write_ring, [polygon.exterior, *polygon.interiors]))})"


def _write_ring(ring: Any) -> str:
    return f"({', '.join(' '.join(map(repr, position)) for position in ring.coords)})"
