"""Geometries taken apart, and their shape checked before anything is computed with it."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import chain
from typing import Any

from exchange_geojson.names import GEOMETRY_TYPES

_DEEPEST = 32


class GeometryError(ValueError):
    """A geometry breaks the rules; the message says which."""


def split_geometry(geometry: Any, *, depth: int = 0) -> Iterator[Any]:
    """Yield the points, lines and polygons that a geometry is made of; what is broken comes as it is.

    No geometry at all comes as one point without a position.
    """
    if geometry is None:
        yield {"type": "Point", "coordinates": None}
    elif _is_collection(geometry, "GeometryCollection", "geometries") and depth < _DEEPEST:
        for part in geometry["geometries"] or [None]:
            yield from split_geometry(part, depth=depth + 1)
    elif _is_collection(geometry, "MultiPoint", "coordinates"):
        yield from ({"type": "Point", "coordinates": position} for position in geometry["coordinates"] or [None])
    else:
        yield geometry


def _is_collection(geometry: Any, name: str, member: str) -> bool:
    return isinstance(geometry, dict) and geometry.get("type") == name and isinstance(geometry.get(member), list)


def name_geometry(geometry: Any) -> tuple[str, Any]:
    """Return the type and the coordinates of a point, line or polygon.

    Raises
    ------
    GeometryError
        When it is none.
    """
    if not isinstance(geometry, dict):
        raise GeometryError("it is no JSON object")
    name = geometry.get("type")
    if name not in GEOMETRY_TYPES or name in ("GeometryCollection", "MultiPoint"):
        raise GeometryError(f"its type is {name!r}")
    if "coordinates" not in geometry:
        raise GeometryError("it has no coordinates")
    return str(name), geometry["coordinates"]


def read_lines(coordinates: Any, *, is_multiple: bool) -> tuple[list[Any], list[int]]:
    """Return all positions of a line, or of several lines or rings, and how many each of them has.

    Raises
    ------
    GeometryError
        When the coordinates are not nested as the type asks.
    """
    lines = coordinates if is_multiple else [coordinates]
    if not isinstance(lines, list) or not all(isinstance(line, list) for line in lines):
        raise GeometryError("its coordinates are not nested as its type asks")
    positions = list(chain.from_iterable(lines))
    if not all(isinstance(position, list) for position in positions):
        raise GeometryError("its coordinates are not nested as its type asks")
    if any(position and isinstance(position[0], list) for position in positions):
        raise GeometryError("its coordinates are nested deeper than its type asks")
    return positions, [len(line) for line in lines]
