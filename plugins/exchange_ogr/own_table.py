"""The model's rows as layers of fields: what a field can hold exactly goes into one, the rest into JSON.

Every row carries the field ``exchange`` (``detection``, ``note``, ``place``, ``fix``, ``perimeter``) and, where a value
has no field that would give it back exactly, the field ``exchange_json`` with those values by name.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import UTC
from typing import Any

from exchange.formats.packed_json import pack_value, unpack_value
from exchange.formats.properties import PACKET_FIELDS, flatten_perimeter, flatten_table, flatten_track_fields
from exchange.model import Packet, PointTable
from exchange.model.columns import ForeignColumn, join_foreign_columns, to_foreign_column, to_items

MARK, JSON_FIELD, TRACK_FIELD, FIX = "exchange", "exchange_json", "exchange_track", "fix"
TRACK_JSON = "$track"
RESERVED = {"fid", "ogc_fid", "objectid", "geom", "geometry", "shape", MARK, JSON_FIELD, TRACK_FIELD}
_FIELD_NAME = re.compile(r"[A-Za-z][A-Za-z0-9_]{0,59}")

FieldTest = Callable[[str, ForeignColumn], str]
"""Returns the fiona type of the field that holds a column exactly, or the empty text."""


@dataclass
class OwnTable:
    """Rows of one kind, ready to be written.

    Attributes
    ----------
    layer, mark, geometry_type
        Names of the layer, of the kind in the field ``exchange``, and of the geometry.
    geometries
        One a row, as ``Rows`` holds them.
    columns
        By property name, one value a row.
    rows
        Values that belong to single rows and to no column, by name.
    """

    layer: str
    mark: str
    geometry_type: str
    geometries: list[Any]
    columns: dict[str, ForeignColumn]
    rows: list[dict[str, Any]] = field(default_factory=list)

    def split(self, field_type: FieldTest) -> tuple[dict[str, str], list[dict[str, Any]]]:
        """Return the fields with their types, and for each row the values that no field holds."""
        fields: dict[str, str] = {}
        taken = set(RESERVED)
        left = [dict(row) for row in self.rows] or [{} for _ in self.geometries]
        for name, column in self.columns.items():
            kind = field_type(name, column) if name.lower() not in taken else ""
            if kind:
                fields[name] = kind
                taken.add(name.lower())
            else:
                _leave(left, name, column)
        return fields, left


def _leave(rows: list[dict[str, Any]], name: str, column: ForeignColumn) -> None:
    for row, value in zip(rows, to_items(column), strict=True):
        if value is not None and value != "" and value == value:
            row[name] = value


def exact_field_type(name: str, column: ForeignColumn) -> str:
    """Return the type of the field that holds a column exactly in a GeoPackage or FlatGeobuf, or the empty text."""
    kinds = {"i": "int64", "f": "float", "b": "bool", "M": "datetime"}
    if not _FIELD_NAME.fullmatch(name):
        return ""
    if column.dtype.kind in kinds:
        return kinds[column.dtype.kind]
    texts = column.tolist()
    # The library passes text on as C strings, which end at a NUL.
    return "str" if set(map(type, texts)) <= {str} and "\x00" not in "".join(texts) else ""


def field_values(column: ForeignColumn) -> list[Any]:
    """Return a column as the library wants its values: missing is ``None``."""
    if column.dtype.kind == "M":
        return [value and value.replace(tzinfo=UTC) for value in column.tolist()]
    return [None if value == "" or value != value else value for value in column.tolist()]


def own_tables(packet: Packet) -> Iterator[OwnTable]:
    """Yield everything a packet holds as tables of fields, those without rows left out."""
    for mark, layer in PACKET_FIELDS.items():
        table = getattr(packet, layer)
        if len(table):
            yield OwnTable(layer, mark, "Point", _points(table), flatten_table(table))
    if packet.tracks:
        yield _fixes(packet)
    if packet.perimeters:
        yield _perimeters(packet)


def _points(table: PointTable) -> list[Any]:
    pairs = zip(table.longitude.tolist(), table.latitude.tolist(), strict=True)
    return [pair if placed else None for pair, placed in zip(pairs, table.has_position().tolist(), strict=True)]


def _fixes(packet: Packet) -> OwnTable:
    flat = [flatten_table(track) for track in packet.tracks]
    names = dict.fromkeys(name for columns in flat for name in columns)
    lengths = [len(track) for track in packet.tracks]
    columns = {
        name: join_foreign_columns([(part.get(name), n) for part, n in zip(flat, lengths, strict=True)])
        for name in names
    }
    rows: list[dict[str, Any]] = []
    geometries: list[Any] = []
    for track in packet.tracks:
        geometries += _points(track)
        rows += [{TRACK_JSON: flatten_track_fields(track)}, *({} for _ in range(len(track) - 1))][: len(track)]
    return OwnTable("fixes", FIX, "Point", geometries, columns, rows)


def track_numbers(packet: Packet) -> list[int]:
    """Return for each fix of all tracks the number of its track, counted from 1."""
    return [number for number, track in enumerate(packet.tracks, 1) for _ in range(len(track))]


def _perimeters(packet: Packet) -> OwnTable:
    from fiona.model import Geometry
    from shapely.geometry import mapping

    flat = [flatten_perimeter(perimeter) for perimeter in packet.perimeters]
    names = dict.fromkeys(name for fields in flat for name in fields)
    columns = {name: to_foreign_column([fields.get(name) for fields in flat]) for name in names}
    geometries = [Geometry.from_dict(mapping(perimeter.geometry)) for perimeter in packet.perimeters]
    kinds = {geometry.type for geometry in geometries}
    geometry_type = kinds.pop() if len(kinds) == 1 else "Unknown"
    return OwnTable("perimeters", "perimeter", geometry_type, geometries, columns)


def dump_values(values: Mapping[str, Any]) -> str | None:
    """Return values by name as JSON text, ``None`` when there are none; an instant becomes ``{"$instant": ...}``."""
    return json.dumps({name: pack_value(value) for name, value in values.items()}) if values else None


def load_values(text: str | None) -> dict[str, Any]:
    """Return what ``dump_values`` wrote.

    Raises
    ------
    ValueError
        When the text is no JSON object.
    """
    loaded = json.loads(text) if text else {}
    if not isinstance(loaded, dict):
        raise ValueError(f"{text!r} is no JSON object")
    return {name: unpack_value(value) for name, value in loaded.items()}
