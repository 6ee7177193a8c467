"""Points, lines and polygons as GeoJSON geometries."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from exchange.formats.text_columns import TextCells, format_numbers, join_rows

Floats = NDArray[np.float64]


def write_points(longitude: Floats, latitude: Floats, altitude: Floats) -> list[TextCells | str]:
    """Return the parts of one Point geometry a row, ``null`` where longitude or latitude is missing."""
    import pyarrow as pa
    import pyarrow.compute as pc

    placed = np.isfinite(longitude) & np.isfinite(latitude)
    parts = ['{"type":"Point","coordinates":[', *_position_parts(longitude, latitude, altitude), "]}"]
    return parts if placed.all() else [pc.if_else(pa.array(placed), join_rows(parts), "null")]


def write_positions(longitude: Floats, latitude: Floats, altitude: Floats) -> TextCells:
    """Return positions as JSON arrays, shape (n,); what is missing of a position is left out."""
    return join_rows(["[", *_position_parts(longitude, latitude, altitude), "]"])


def _position_parts(longitude: Floats, latitude: Floats, altitude: Floats) -> list[TextCells | str]:
    import pyarrow.compute as pc

    parts = [format_numbers(longitude, with_point=True), ",", format_numbers(latitude, with_point=True)]
    known = np.isfinite(altitude)
    if not known.any():
        return parts
    heights = format_numbers(np.where(known, altitude, np.nan), with_point=True)
    if known.all():
        return [*parts, ",", heights]
    return [*parts, pc.binary_join_element_wise(",", heights, "", null_handling="emit_null")]


def write_lines(lines: Sequence[Floats]) -> str:
    """Return positions (n, 2 or 3) of each line as a LineString, or a MultiLineString of several; ``null`` of none."""
    if not lines:
        return "null"
    texts = [_write_array(line) for line in lines]
    if len(texts) == 1:
        return f'{{"type":"LineString","coordinates":{texts[0]}}}'
    return f'{{"type":"MultiLineString","coordinates":[{",".join(texts)}]}}'


def write_polygons(geometry: Any) -> str:
    """Return a shapely Polygon or MultiPolygon as a geometry, as it is."""
    is_multiple = geometry.geom_type == "MultiPolygon"
    polygons = [_write_rings(part) for part in (geometry.geoms if is_multiple else [geometry])]
    coordinates = f"[{','.join(polygons)}]" if is_multiple else polygons[0]
    return f'{{"type":"{geometry.geom_type}","coordinates":{coordinates}}}'


def _write_rings(polygon: Any) -> str:
    if polygon.is_empty:
        return "[]"
    rings = [np.asarray(ring.coords) for ring in (polygon.exterior, *polygon.interiors)]
    return f"[{','.join(map(_write_array, rings))}]"


def _write_array(positions: Floats) -> str:
    altitude = positions[:, 2] if positions.shape[1] > 2 else np.full(len(positions), np.nan)
    return f"[{join_cells(write_positions(positions[:, 0], positions[:, 1], altitude))}]"


def join_cells(cells: TextCells | Iterable[TextCells]) -> str:
    """Return all cells with commas between them."""
    rows = join_rows([cells, ","])
    data = rows.buffers()[2]
    return bytes(data).decode().removesuffix(",") if data is not None and len(rows) else ""
