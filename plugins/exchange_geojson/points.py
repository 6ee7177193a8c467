"""Rows of points become detections, notes and places."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from exchange.formats.foreign import read_foreign_points
from exchange.formats.options import ReadOptions
from exchange.formats.properties import PACKET_FIELDS, TABLES, build_table
from exchange.formats.time_text import parse_times
from exchange.model import Packet, Problem, Sources
from exchange.model.columns import ForeignColumn, to_text_column
from exchange_geojson.crs import Placement
from exchange_geojson.positions import AXES
from exchange_geojson.rows import Rows

_TELL_ALTITUDE = Problem(
    message="the third coordinate was taken as height above mean sea level, as is common practice",
    severity="note",
    remedy="The standard means height above the ellipsoid, which differs by some tens of metres.",
)


def build_points(
    kind: str,
    rows: Rows,
    file_name: str,
    layer: str,
    options: ReadOptions,
    placement: Placement,
    instants: Mapping[str, frozenset[str]],
) -> Packet:
    """Return the points of one kind as a packet; ``kind`` is empty for a stranger's.

    Raises
    ------
    MalformedError
        When a row of the house's own cannot be read as what it says it is.
    """
    placed = placement.place(rows)
    source = Sources.of(file_name, layer, placed.records)
    if not kind:
        return _build_foreign(placed, source, options)
    columns = restore_instant_columns(placed.columns, instants.get(kind, frozenset()))
    table_type = TABLES[kind]
    axes = [axis for axis in AXES if axis in table_type.column_names()]
    position: dict[str, Any] = {axis: _merge_axis(getattr(placed, axis), columns.pop(axis, None)) for axis in axes}
    if "altitude" not in axes:
        columns.setdefault("altitude", placed.altitude)
    table = build_table(table_type, columns, source=source, **position)
    return Packet(problems=tuple(placed.problems)).replace(**{PACKET_FIELDS[kind]: table})


def _build_foreign(rows: Rows, source: Sources, options: ReadOptions) -> Packet:
    has_altitude = not np.isnan(rows.altitude).all()
    packet = read_foreign_points(
        rows.columns,
        longitude=rows.longitude,
        latitude=rows.latitude,
        altitude=rows.altitude if has_altitude else None,
        source=source,
        options=options,
    )
    told = [_TELL_ALTITUDE] if has_altitude else []
    return packet.replace(problems=(*rows.problems, *told, *packet.problems))


def _merge_axis(geometry: Any, column: ForeignColumn | None) -> Any:
    """Return an axis from the geometry, and where there is none from the property of that name."""
    if column is None:
        return geometry
    written = column.astype(np.float64)
    return np.where(np.isnan(geometry), written, geometry)


def restore_instant_columns(columns: Mapping[str, ForeignColumn], names: frozenset[str]) -> dict[str, ForeignColumn]:
    """Return columns in which those of the given names, all text, are instants again."""
    restored = dict(columns)
    for name in names & columns.keys():
        if columns[name].dtype.kind == "O" and all(isinstance(v, (str, type(None))) for v in columns[name]):
            parsed = parse_times(to_text_column(columns[name], len(columns[name])))
            if not len(parsed.unreadable) and not len(parsed.without_zone):
                restored[name] = parsed.time
    return restored
