"""A packet as a collection of features, or as one feature after the other."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import chain
from pathlib import Path
from typing import Any, BinaryIO

import numpy as np

from exchange.formats.options import WriteOptions
from exchange.formats.properties import KIND, PACKET_FIELDS, escape_name, flatten_table
from exchange.formats.text_columns import TextCells, join_rows, slices, write_rows
from exchange.model import Packet, PointTable, Problem
from exchange.model.columns import to_text_column
from exchange_geojson.geometry_text import write_points
from exchange_geojson.json_cells import JsonWriter, to_json_text
from exchange_geojson.names import HEADER
from exchange_geojson.positions import AXES
from exchange_geojson.shapes_text import write_perimeter, write_track

_VERSION = 1


def write_collection(packet: Packet, target: Path, options: WriteOptions) -> Sequence[Problem]:
    """Write a packet as one FeatureCollection.

    Raises
    ------
    WriteError
        When a perimeter has a position that is not finite.
    OSError
        When the file cannot be written.
    """
    writer = JsonWriter()
    head = {"type": "FeatureCollection", **_head_members(packet, options)}
    text = ",\n".join(f"{to_json_text(name)}:{writer.dump(value, field=name)}" for name, value in head.items())
    with target.open("wb") as stream:
        stream.write(f'{{{text},\n"features":[\n'.encode())
        features = _Features(stream, before=",\n", after="", writer=writer)
        features.write(packet)
        stream.write(b"\n]}\n")
    return writer.problems


def write_sequence(packet: Packet, target: Path, options: WriteOptions) -> Sequence[Problem]:
    """Write a packet as a GeoJSON text sequence; its first text is a collection without features that says the rest.

    Raises
    ------
    WriteError
        When a perimeter has a position that is not finite.
    OSError
        When the file cannot be written.
    """
    writer = JsonWriter()
    head = {"type": "FeatureCollection", **_head_members(packet, options), "features": []}
    with target.open("wb") as stream:
        stream.write(f"\x1e{writer.dump(head)}\n".encode())
        _Features(stream, before="\x1e", after="\n", writer=writer, is_begun=True).write(packet)
    return writer.problems


class _Features:
    """Write features with what stands between them."""

    def __init__(
        self, stream: BinaryIO, *, before: str, after: str, writer: JsonWriter, is_begun: bool = False
    ) -> None:
        self._stream, self._writer = stream, writer
        self._before, self._after = before, after
        self._is_begun = is_begun

    def write(self, packet: Packet) -> None:
        """Write all that a packet holds, areas first, so that a map draws the points on top."""
        texts = (write_perimeter(perimeter, self._writer) for perimeter in packet.perimeters)
        pieces = (piece for track in packet.tracks for piece in write_track(track, self._writer))
        for text in chain(texts, pieces):
            self._stream.write(f"{self._before if self._is_begun else ''}{text}{self._after}".encode())
            self._is_begun = True
        for kind, field in PACKET_FIELDS.items():
            for rows in write_table(kind, getattr(packet, field), self._writer, self._before, self._after):
                self._write_rows(rows)

    def _write_rows(self, rows: TextCells) -> None:
        if not self._is_begun:
            self._is_begun = True
            first = rows.slice(0, 1)[0].as_py().removeprefix(self._before)
            self._stream.write(first.encode())
            rows = rows.slice(1)
        write_rows(self._stream, rows)


def write_table(kind: str, table: PointTable, writer: JsonWriter, before: str, after: str) -> Iterator[TextCells]:
    """Yield the rows of a table as features, a batch at a time.

    Every feature of a table has the same names in the same order, a missing value as ``null``.
    """
    columns = _flatten(table)
    ids = columns.get("id") if kind == "detection" else None
    if ids is not None and all(ids):
        del columns["id"]
    else:
        ids = None
    texts = {name for name, kind_of in table.column_kinds().items() if kind_of is to_text_column}
    for rows in slices(len(table), rows=16_384):
        parts: list[Any] = [before, '{"type":"Feature",']
        if ids is not None:
            parts += ['"id":', writer.to_cells(ids[rows], field="id"), ","]
        altitude = getattr(table, "altitude", None)
        height = np.full(len(table.longitude[rows]), np.nan) if altitude is None else altitude[rows]
        parts += ['"geometry":', *write_points(table.longitude[rows], table.latitude[rows], height)]
        parts += [f',"properties":{{"{KIND}":"{kind}"']
        for name, column in columns.items():
            before_value, cells, after_value = writer.to_parts(column[rows], field=name, is_text=name in texts)
            parts += [f",{to_json_text(name)}:{before_value}", cells, after_value]
        yield join_rows(_merge_constants([*parts, "}}", after]))


def _merge_constants(parts: list[Any]) -> list[Any]:
    """Return the parts with neighbouring texts made one."""
    merged: list[Any] = []
    for part in parts:
        if isinstance(part, str) and merged and isinstance(merged[-1], str):
            merged[-1] += part
        else:
            merged.append(part)
    return merged


def _flatten(table: PointTable) -> dict[str, Any]:
    """Return the columns that become properties; of a position only what the geometry cannot hold."""
    axes = [axis for axis in AXES if axis in table.column_names()]
    columns = flatten_table(table, without=axes)
    placed = np.isfinite(table.longitude) & np.isfinite(table.latitude)
    for axis in axes:
        values = getattr(table, axis)
        left = ~np.isnan(values) & (~placed | np.isinf(values))
        if left.any():
            columns[axis] = np.where(left, values, np.nan)
    return columns


def _head_members(packet: Packet, options: WriteOptions) -> dict[str, Any]:
    header: dict[str, Any] = {"version": _VERSION}
    header |= {"incident": packet.incident} if packet.incident else {}
    instants = {kind: _find_instants(getattr(packet, field)) for kind, field in PACKET_FIELDS.items()}
    named = {kind: names for kind, names in instants.items() if names}
    header |= {"instants": named} if named else {}
    title = options.title or packet.incident
    members: dict[str, Any] = {"name": title} if title else {}
    box = _find_box(packet)
    return members | {HEADER: header} | ({"bbox": box} if box else {})


def _find_instants(table: PointTable) -> list[str]:
    """Return the names under which the table's foreign columns of instants are written: JSON has text only."""
    declared = table.column_names()
    return [escape_name(name, declared) for name, column in table.extra.items() if column.dtype.kind == "M"]


def _find_box(packet: Packet) -> list[float]:
    """Return the bounding box of all positions (RFC 7946 §5), west beyond east where it crosses the 180th meridian."""
    from exchange.geo.antimeridian import bounding_box

    tables = [*(getattr(packet, field) for field in PACKET_FIELDS.values()), *packet.tracks]
    longitude = [table.longitude for table in tables]
    latitude = [table.latitude for table in tables]
    if packet.perimeters:
        import shapely

        corners = shapely.get_coordinates([perimeter.geometry for perimeter in packet.perimeters])
        longitude, latitude = [*longitude, corners[:, 0]], [*latitude, corners[:, 1]]
    x, y = np.concatenate(longitude), np.concatenate(latitude)
    return list(bounding_box(x, y)) if (np.isfinite(x) & np.isfinite(y)).any() else []
