"""The model's rows as named properties and back: the one naming that all formats of the house share.

A file that the house wrote says in the property ``exchange`` what each feature is (``detection``, ``note``,
``place``, ``track``, ``perimeter``). The model's columns keep their names. A foreign field keeps its name too,
unless it would be taken for a column: then it travels as ``extra.NAME``.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from datetime import UTC, datetime
from typing import Any, TypeVar

import numpy as np

from exchange.errors import MalformedError
from exchange.formats.time_text import parse_times
from exchange.formats.values import format_instant, to_texts
from exchange.model import Detections, Perimeter, Places, Source, Sources, StatusNotes, Table, Track
from exchange.model.columns import ForeignColumn, has_any_value, to_foreign_column, to_number_column, to_text_column

KIND = "exchange"
"""The property that says what a feature of the house's own file is."""

TABLES: dict[str, type[Table]] = {"detection": Detections, "note": StatusNotes, "place": Places}
"""The tables of points by the word that marks their rows."""

PACKET_FIELDS = {"detection": "detections", "note": "notes", "place": "places"}
"""The field of a packet that holds each of those tables."""

assert PACKET_FIELDS.keys() == TABLES.keys()  # noqa: S101  # a kind without its field would be lost in silence

TRACK, PERIMETER = "track", "perimeter"
TRACK_FIELDS = ("name", "sortie", "aircraft", "height_reference")
PERIMETER_FIELDS = ("id", "name", "as_of", "method", "accuracy", "area", "length", "tracks", "quality")
_ESCAPE = "extra."

AnyTable = TypeVar("AnyTable", bound=Table)


def escape_name(name: str, declared: Collection[str]) -> str:
    """Return the name a foreign field travels under where ``declared`` names are the model's."""
    return _ESCAPE + name if name in declared or name == KIND or name.startswith(_ESCAPE) else name


def unescape_name(name: str) -> str:
    """Return a foreign field's own name."""
    return name.removeprefix(_ESCAPE)


def flatten_table(table: Table, *, without: Collection[str] = ("longitude", "latitude")) -> dict[str, ForeignColumn]:
    """Return the columns that hold a value by their property names, foreign ones last.

    Parameters
    ----------
    table
        Any table of the model; of a track the columns of its fixes.
    without
        Columns that the format writes by itself, such as the position.
    """
    names = table.column_names()
    held = {name: getattr(table, name) for name in names if name not in without}
    flat = {name: column for name, column in held.items() if has_any_value(column)}
    return flat | {escape_name(name, names): column for name, column in table.extra.items()}


def build_table(
    kind: type[AnyTable], columns: Mapping[str, Any], *, source: Sources | None = None, **fixed: Any
) -> AnyTable:
    """Return a table from property columns that ``flatten_table`` named; text is read as the column's kind.

    Parameters
    ----------
    kind
        Which table.
    columns
        By property name, each of shape (n,); numbers and times may still be text.
    source
        Where the rows came from.
    fixed
        Columns (the position) or fields that the format has read already.

    Raises
    ------
    MalformedError
        When a text cannot be read as the kind of its column; names the field and the first record.
    """
    declared = {n: _read_column(kind, n, values, source) for n, values in columns.items() if n in kind.column_names()}
    foreign = {unescape_name(n): v for n, v in columns.items() if n not in kind.column_names() and n != KIND}
    return kind(**{**declared, **fixed, "extra": foreign, "source": source})


def _read_column(kind: type[Table], name: str, values: Any, source: Sources | None) -> Any:
    wanted = kind.column_kinds()[name]
    array = values if isinstance(values, np.ndarray) else to_foreign_column(values)
    if wanted is to_text_column:
        return to_texts(array)
    if array.dtype.kind != "O":
        return array
    if wanted is to_number_column:
        return _as_numbers(array, name, source)
    return _as_times(array, name, source)


def _as_numbers(array: ForeignColumn, name: str, source: Sources | None) -> ForeignColumn:
    numbers = np.full(len(array), np.nan)
    for row, value in enumerate(array):
        try:
            numbers[row] = np.nan if value is None or value == "" else float(value)
        except (TypeError, ValueError) as error:
            raise unreadable_value("number", value, name, row, source) from error
    return numbers


def _as_times(array: ForeignColumn, name: str, source: Sources | None) -> ForeignColumn:
    texts = ["" if value is None else value if isinstance(value, str) else str(value) for value in array]
    parsed = parse_times(texts, zone=UTC)
    if len(parsed.unreadable):
        row = int(parsed.unreadable[0])
        raise unreadable_value("time", texts[row], name, row, source)
    return parsed.time


def unreadable_value(what: str, value: Any, name: str, row: int, source: Sources | None) -> MalformedError:
    """Return the error that a row of a file of the house holds a value of another kind than ``what`` says."""
    place = source[row] if source is not None else Source()
    return MalformedError(
        f"{value!r} is no {what}",
        path=place.file or None,
        layer=place.layer or None,
        record=place.record or None,
        field=name,
        remedy="Mend the value in the file, or take the mark of this program off the record.",
    )


def flatten_track_fields(track: Track) -> dict[str, Any]:
    """Return what belongs to a track as a whole, by property name; its fixes are not in it."""
    held = {name: getattr(track, name) for name in TRACK_FIELDS if getattr(track, name)}
    declared = (*TRACK_FIELDS, *Track.column_names())
    return held | {escape_name(name, declared): value for name, value in track.properties.items()}


def split_track_fields(properties: Mapping[str, Any]) -> dict[str, Any]:
    """Return the keyword arguments of ``Track`` that ``flatten_track_fields`` flattened."""
    known = {name: str(properties[name]) for name in TRACK_FIELDS if name in properties}
    rest = {unescape_name(n): v for n, v in properties.items() if n not in TRACK_FIELDS and n != KIND}
    return {**known, "properties": rest}


def flatten_perimeter(perimeter: Perimeter) -> dict[str, Any]:
    """Return all of a perimeter but its geometry, by property name; plain JSON-like values, missing left out."""
    held: dict[str, Any] = {}
    for name in PERIMETER_FIELDS:
        value = getattr(perimeter, name)
        if isinstance(value, np.datetime64):
            value = "" if np.isnat(value) else format_instant(value.item().replace(tzinfo=UTC))
        if isinstance(value, (tuple, Mapping)):
            value = list(value) if isinstance(value, tuple) else dict(value)
        if value not in ("", [], {}) and value == value:
            held[name] = value
    return held | {escape_name(name, PERIMETER_FIELDS): value for name, value in perimeter.extra.items()}


def build_perimeter(properties: Mapping[str, Any], *, geometry: Any, source: Source | None = None) -> Perimeter:
    """Return a perimeter from the properties that ``flatten_perimeter`` named; numbers may still be text.

    Raises
    ------
    MalformedError
        When a text is no number or no time; names the field.
    ModelError
        When the geometry is no polygon.
    """
    source = source or Source()
    read = {name: properties[name] for name in PERIMETER_FIELDS if name in properties}
    sources = Sources.of(source.file, source.layer, [source.record])
    for name in ("accuracy", "area", "length"):
        if name in read:
            read[name] = float(_as_numbers(np.array([read[name]], dtype=object), name, sources)[0])
    if "as_of" in read and not isinstance(read["as_of"], (datetime, np.datetime64)):
        read["as_of"] = _as_times(np.array([read["as_of"]], dtype=object), "as_of", sources)[0]
    extra = {unescape_name(n): v for n, v in properties.items() if n not in PERIMETER_FIELDS and n != KIND}
    return Perimeter(geometry=geometry, **read, extra=extra, source=source)
