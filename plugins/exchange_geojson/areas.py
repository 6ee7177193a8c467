"""Polygons become perimeters."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from typing import Any

import numpy as np

from exchange.errors import MalformedError
from exchange.formats.positions import POSITION_TEXT
from exchange.formats.properties import build_perimeter
from exchange.model import Perimeter, Problem, Source
from exchange_geojson.crs import Placement
from exchange_geojson.geometries import GeometryError, read_lines
from exchange_geojson.names import UNCUT
from exchange_geojson.positions import to_position_columns
from exchange_geojson.rows import Rows, restore_instants


def build_own_perimeter(
    geometry: dict[str, Any], properties: dict[str, Any], source: Source, placement: Placement
) -> Perimeter:
    """Return a perimeter that the house wrote; where it was cut at the 180th meridian, as it was before.

    Raises
    ------
    MalformedError
        When the geometry or a value is not what it should be.
    """
    fields = {name: restore_instants(value) for name, value in properties.items() if name != UNCUT}
    uncut = properties.get(UNCUT)
    whole = uncut if isinstance(uncut, dict) else geometry
    try:
        shape, _ = _build_shape(str(whole.get("type")), whole.get("coordinates"), source, placement)
    except GeometryError as error:
        raise MalformedError(
            f"the perimeter's geometry cannot be used: {error}",
            path=source.file,
            layer=source.layer,
            record=source.record,
            field="geometry",
            remedy="Mend it, or take the mark of this program off the record.",
        ) from error
    return build_perimeter(fields, geometry=shape, source=source)


def build_foreign_perimeter(
    name: str, coordinates: Any, properties: dict[str, Any], source: Source, placement: Placement
) -> tuple[Perimeter, list[Problem]]:
    """Return a stranger's polygon as a perimeter, and what was repaired or is wrong with it.

    Raises
    ------
    GeometryError
        When it cannot be used as a polygon.
    """
    from exchange.geo.rings import find_defects

    shape, problems = _build_shape(name, coordinates, source, placement)
    extra = dict(properties)
    fields = {field: extra.pop(field) for field in ("id", "name") if isinstance(extra.get(field), str)}
    problems += [
        Problem(message=f"a polygon has a defect: {defect}", severity="note", layer=source.layer, record=source.record)
        for defect in find_defects(shape)
    ]
    return Perimeter(geometry=shape, extra=extra, source=source, **fields), problems


def _build_shape(name: str, coordinates: Any, source: Source, placement: Placement) -> tuple[Any, list[Problem]]:
    import shapely

    if name not in ("Polygon", "MultiPolygon"):
        raise GeometryError(f"its type is {name!r}")
    polygons = [coordinates] if name == "Polygon" else coordinates
    if not isinstance(polygons, list):
        raise GeometryError("its coordinates are not nested as its type asks")
    problems: list[Problem] = []
    shapes = [_build_polygon(rings, source, placement, problems) for rings in polygons]
    return (shapes[0] if name == "Polygon" else shapely.MultiPolygon(shapes)), problems


def _build_polygon(rings: Any, source: Source, placement: Placement, problems: list[Problem]) -> Any:
    import shapely

    positions, lengths = read_lines(rings, is_multiple=True)
    if not positions:
        return shapely.Polygon()
    at = to_position_columns(positions)
    records = np.full(len(positions), source.record, dtype=np.int64)
    placed = placement.place(Rows(at.longitude, at.latitude, at.altitude, at.foreign, records))
    if POSITION_TEXT in placed.columns or np.isnan(placed.longitude).any():
        raise GeometryError("one of its positions is none")
    problems += [_at_record(problem, source) for problem in at.problems]
    axes = [placed.longitude, placed.latitude]
    axes += [] if np.isnan(placed.altitude).any() else [placed.altitude]
    table = np.column_stack(axes)
    bounds = np.cumsum([0, *lengths])
    shell, *holes = [_close(table[a:b], source, problems) for a, b in pairwise(bounds)]
    return shapely.Polygon(shell, holes)


def _close(ring: Any, source: Source, problems: list[Problem]) -> Any:
    is_closed = len(ring) > 0 and np.array_equal(ring[0], ring[-1])
    if len(ring) < (4 if is_closed else 3):
        raise GeometryError(f"a ring of {len(ring)} positions encloses nothing")
    if is_closed:
        return ring
    problems.append(
        Problem(
            message="a ring did not end where it starts and was closed",
            severity="changed",
            layer=source.layer,
            record=source.record,
            field="geometry",
        )
    )
    return np.concatenate([ring, ring[:1]])


def _at_record(problem: Problem, source: Source) -> Problem:
    return replace(problem, record=source.record, layer=source.layer)
