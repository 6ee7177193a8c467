"""Write a packet as a table of the house."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO, Any

from exchange.formats.formulas import escape_formula
from exchange.formats.properties import (
    KIND,
    PERIMETER_FIELDS,
    TABLES,
    TRACK_FIELDS,
    flatten_perimeter,
)
from exchange.formats.text_columns import format_column, slices, write_rows
from exchange.formats.values import to_text
from exchange.model import Packet, Perimeter, Table, Track
from exchange.model.columns import has_any_value, to_number_column
from exchange_csv.cells import escape_cells, quote_cells, quote_text
from exchange_csv.layout import FIX, GEOMETRY, INCIDENT, PERIMETER, TRACK, TRACK_NUMBER, head_foreign
from exchange_csv.own_cells import write_cells, write_value
from exchange_csv.wkt import write_wkt

LINE_END = "\r\n"  # RFC 4180, section 2, item 1


@dataclass
class Part:
    """Rows of one kind: their cells by heading, Arrow text of shape (n,), null where missing."""

    kind: str
    length: int
    cells: dict[str, Any] = field(default_factory=dict)
    numbers: set[str] = field(default_factory=set)
    """Headings of cells that are numbers, times or truth values, which need no quotes and hide no formula."""

    decimals: set[str] = field(default_factory=set)
    """Headings of cells whose numbers have a decimal mark."""


def write_table(packet: Packet, target: Path, *, separator: str, decimal_mark: str) -> None:
    """Write a packet to a path that does not exist yet.

    Raises
    ------
    OSError
        When it cannot be written.
    """
    parts = list(_make_parts(packet))
    headings = list(dict.fromkeys([KIND, *(heading for part in parts for heading in part.cells)]))
    with target.open("xb") as stream:
        header = separator.join(quote_text(escape_formula(heading), separator) for heading in headings)
        stream.write((header + LINE_END).encode("utf-8"))
        for part in parts:
            _write_part(stream, part, headings, separator, decimal_mark)


def _make_parts(packet: Packet) -> Iterator[Part]:
    if packet.incident:
        yield _make_row(INCIDENT, {"name": packet.incident}, ("name",))
    for kind, table in zip(TABLES, (packet.detections, packet.notes, packet.places), strict=True):
        if len(table):
            yield _make_part(kind, table)
    for number, track in enumerate(packet.tracks, 1):
        yield _make_track_head(track, number)
        if len(track):
            yield _make_fixes(track, number)
    for perimeter in packet.perimeters:
        yield _make_perimeter(perimeter)


def _make_part(kind: str, table: Table) -> Part:
    part = Part(kind, len(table))
    for name in table.column_names():
        column = getattr(table, name)
        if has_any_value(column) and not (name == "segment" and not column.any()):
            _add(part, name, format_column(column), column.dtype.kind)
    for name, column in table.extra.items():
        type_name, cells = write_cells(column)
        _add(part, head_foreign(name, type_name, table.column_names()), cells, column.dtype.kind)
    return part


def _add(part: Part, heading: str, cells: Any, kind: str) -> None:
    part.cells[heading] = cells
    if kind != "O":
        part.numbers.add(heading)
    if kind == "f":
        part.decimals.add(heading)


def _make_fixes(track: Track, number: int) -> Part:
    import pyarrow as pa

    part = _make_part(FIX, track)
    part.cells = {TRACK_NUMBER: pa.repeat(pa.scalar(str(number)), len(track)), **part.cells}
    return part


def _make_track_head(track: Track, number: int) -> Part:
    fields = {name: getattr(track, name) for name in TRACK_FIELDS if getattr(track, name)}
    row = _make_row(TRACK, fields, TRACK_FIELDS)
    _add_foreign(row, track.properties, TRACK_FIELDS)
    row.cells[TRACK_NUMBER] = _one(str(number))
    return row


def _make_perimeter(perimeter: Perimeter) -> Part:
    flat = flatten_perimeter(perimeter.replace(extra={}))
    row = _make_row(PERIMETER, flat, PERIMETER_FIELDS)
    for name in ("accuracy", "area", "length"):
        if name in flat:
            _add(row, name, format_column(to_number_column(flat[name], 1)), "f")
    _add_foreign(row, perimeter.extra, PERIMETER_FIELDS)
    row.cells[GEOMETRY] = _one(write_wkt(perimeter.geometry))
    return row


def _make_row(kind: str, fields: Mapping[str, Any], declared: Sequence[str]) -> Part:
    return Part(kind, 1, {name: _one(to_text(value)) for name, value in fields.items() if name in declared})


def _add_foreign(row: Part, values: Mapping[str, Any], declared: Sequence[str]) -> None:
    for name, value in values.items():
        type_name, text = write_value(value)
        row.cells[head_foreign(name, type_name, declared)] = _one(text)


def _one(text: str) -> Any:
    import pyarrow as pa

    return pa.array([text], pa.string())


def _write_part(stream: IO[bytes], part: Part, headings: Sequence[str], separator: str, decimal_mark: str) -> None:
    import pyarrow as pa
    import pyarrow.compute as pc

    cells = {KIND: pa.repeat(pa.scalar(part.kind), part.length)}
    for heading, column in part.cells.items():
        cells[heading] = _finish(pc.fill_null(column, ""), heading, part, separator, decimal_mark)
    for rows in slices(part.length):
        columns = [cells[heading][rows] if heading in cells else "" for heading in headings]
        joined = pc.binary_join_element_wise(*columns, separator)
        write_rows(stream, pc.binary_join_element_wise(joined, LINE_END, ""))  # type: ignore[arg-type]


def _finish(column: Any, heading: str, part: Part, separator: str, decimal_mark: str) -> Any:
    """Return the cells of one column as they stand in the file: formulas escaped, quotes where they are needed."""
    import pyarrow.compute as pc

    if heading in part.decimals and decimal_mark == ",":
        column = pc.replace_substring(column, ".", ",")
    if heading in part.numbers:
        return quote_cells(column, separator) if decimal_mark == separator else column
    return quote_cells(escape_cells(column), separator)
