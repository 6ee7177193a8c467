"""Write the model's layers through fiona."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from functools import partial
from itertools import chain
from pathlib import Path
from typing import Any

from exchange.errors import WriteError
from exchange.model import Packet, Problem
from exchange.model.columns import ForeignColumn
from exchange_ogr.own_table import (
    FIX,
    JSON_FIELD,
    MARK,
    TRACK_FIELD,
    OwnTable,
    dump_values,
    exact_field_type,
    field_values,
    own_tables,
    track_numbers,
)
from exchange_ogr.rows import build_records

WGS84 = "EPSG:4326"


def write_layers(packet: Packet, target: Path, *, driver: str) -> Sequence[Problem]:
    """Write one layer for each kind of thing.

    Raises
    ------
    WriteError
        When the packet is empty, or GDAL cannot write.
    """
    for table in list(own_tables(packet)) or [_empty_table()]:
        fields, left = table.split(exact_field_type)
        schema = {"geometry": table.geometry_type, "properties": fields | _own_fields(table)}
        records = build_records(table.geometries, _columns(table, fields, left, packet))
        write_collection(target, driver, schema, records, layer=table.layer)
    return []


def write_one_layer(packet: Packet, target: Path, *, driver: str) -> Sequence[Problem]:
    """Write everything into one layer of mixed geometry, a field of one name holding one type.

    Raises
    ------
    WriteError
        When GDAL cannot write.
    """
    union: dict[str, str] = {}
    parts: list[tuple[OwnTable, dict[str, Iterable[Any]]]] = []
    for table in list(own_tables(packet)) or [_empty_table()]:
        fields, left = table.split(partial(_agreed_type, union))
        union |= fields
        parts.append((table, _columns(table, fields, left, packet)))
    names = union | {TRACK_FIELD: "int64", MARK: "str", JSON_FIELD: "str"}
    records = (
        build_records(table.geometries, {name: columns.get(name, [None] * len(table.geometries)) for name in names})
        for table, columns in parts
    )
    schema = {"geometry": "Unknown", "properties": names}
    # Its spatial index would reorder the rows and refuse those without a position; without rows it must be there.
    has_rows = any(table.geometries for table, _ in parts)
    write_collection(target, driver, schema, chain.from_iterable(records), SPATIAL_INDEX="NO" if has_rows else "YES")
    return []


def _agreed_type(union: Mapping[str, str], name: str, column: ForeignColumn) -> str:
    kind = exact_field_type(name, column)
    clashing = {known.lower(): known for known in union}
    if name.lower() in clashing and (clashing[name.lower()] != name or union[name] != kind):
        return ""
    return kind


def _own_fields(table: OwnTable) -> dict[str, str]:
    return ({TRACK_FIELD: "int64"} if table.mark == FIX else {}) | {MARK: "str", JSON_FIELD: "str"}


def _columns(
    table: OwnTable, fields: Iterable[str], left: Sequence[Mapping[str, Any]], packet: Packet
) -> dict[str, Iterable[Any]]:
    columns: dict[str, Iterable[Any]] = {name: field_values(table.columns[name]) for name in fields}
    if table.mark == FIX:
        columns[TRACK_FIELD] = track_numbers(packet)
    return columns | {MARK: [table.mark] * len(left), JSON_FIELD: map(dump_values, left)}


def _empty_table() -> OwnTable:
    return OwnTable("detections", "detection", "Point", [], {})


def write_collection(target: Path, driver: str, schema: Any, records: Any, **options: Any) -> None:
    """Write one layer in WGS 84; ``options`` go to the driver.

    Raises
    ------
    WriteError
        When GDAL cannot write.
    """
    import fiona
    from fiona.errors import FionaError

    try:
        with fiona.open(str(target), "w", driver=driver, schema=schema, crs=WGS84, **options) as collection:
            collection.writerecords(records)
    except (FionaError, RuntimeError) as error:
        raise WriteError(f"the GIS library cannot write it: {error}", path=target.name) from error
