"""Write the model's layers through fiona."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from functools import partial
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

WGS84 = "EPSG:4326"


def write_layers(packet: Packet, target: Path, *, driver: str) -> Sequence[Problem]:
    """Write one layer for each kind of thing.

    Raises
    ------
    WriteError
        When the packet is empty, or GDAL cannot write.
    """
    tables = list(own_tables(packet)) or [_empty_table()]
    for table in tables:
        fields, left = table.split(exact_field_type)
        schema = {"geometry": table.geometry_type, "properties": fields | _own_fields(table)}
        write_collection(target, driver, schema, _records(table, fields, left, packet), layer=table.layer)
    return []


def write_one_layer(packet: Packet, target: Path, *, driver: str) -> Sequence[Problem]:
    """Write everything into one layer of mixed geometry, a field of one name holding one type.

    Raises
    ------
    WriteError
        When GDAL cannot write.
    """
    union: dict[str, str] = {}
    records: list[dict[str, Any]] = []
    for table in list(own_tables(packet)) or [_empty_table()]:
        fields, left = table.split(partial(_agreed_type, union))
        union |= fields
        records += _records(table, fields, left, packet)
    schema = {"geometry": "Unknown", "properties": union | {TRACK_FIELD: "int64", MARK: "str", JSON_FIELD: "str"}}
    # Its spatial index would reorder the rows and refuse those without a position; without rows it must be there.
    filled = (_fill(record, schema["properties"]) for record in records)
    write_collection(target, driver, schema, filled, SPATIAL_INDEX="NO" if records else "YES")
    return []


def _agreed_type(union: Mapping[str, str], name: str, column: ForeignColumn) -> str:
    kind = exact_field_type(name, column)
    clashing = {known.lower(): known for known in union}
    if name.lower() in clashing and (clashing[name.lower()] != name or union[name] != kind):
        return ""
    return kind


def _fill(record: dict[str, Any], fields: Any) -> dict[str, Any]:
    properties = dict.fromkeys(fields) | record["properties"]
    return {**record, "properties": properties}


def _own_fields(table: OwnTable) -> dict[str, str]:
    return ({TRACK_FIELD: "int64"} if table.mark == FIX else {}) | {MARK: "str", JSON_FIELD: "str"}


def _records(
    table: OwnTable, fields: Mapping[str, str], left: Sequence[Mapping[str, Any]], packet: Packet
) -> Iterator[dict[str, Any]]:
    values = {name: field_values(table.columns[name]) for name in fields}
    numbers = track_numbers(packet) if table.mark == FIX else []
    for row, geometry in enumerate(table.geometries):
        properties = {name: column[row] for name, column in values.items()}
        if numbers:
            properties[TRACK_FIELD] = numbers[row]
        properties |= {MARK: table.mark, JSON_FIELD: dump_values(left[row])}
        yield {"type": "Feature", "geometry": geometry, "properties": properties}


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
