"""A placemark's own fields as columns: untyped data, typed data by their schema, display names, foreign XML."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from exchange.formats.arrow_columns import to_numbers, to_texts
from exchange.formats.text_columns import TextCells, to_cells
from exchange.formats.time_text import parse_times
from exchange.formats.values import from_text
from exchange.formats.xml.characters import clean_text
from exchange.model.columns import ForeignColumn, TextColumn, has_value, to_foreign_column, to_items
from exchange_kml.names import HOUSE
from exchange_kml.take import DATA, DISPLAY_NAME, SEPARATOR, SIMPLE, XML

Tell = Callable[[str, str, NDArray[np.int64], str], None]
"""Takes a field's name, what is wrong, the rows and the first value."""

# OGC 12-007r2, 9.11, and the spellings of KML 2.2.
_WHOLE = frozenset(("int", "uint", "short", "ushort", "unsignedInt", "unsignedShort", "long", "whole"))
_NUMBERS = frozenset(("double", "float"))
_TRUTHS = frozenset(("bool", "boolean"))
HOUSE_TYPES = ("whole", "dateTime", "json", "mixed", "int", "double", "bool", "string")
"""Types that the house's own schemas name in their identifier."""


@dataclass
class Schemas:
    """The types that a file's schemas declare: by the schema's identifier, then by field."""

    types: dict[str, dict[str, str]] = field(default_factory=dict)

    def add(self, identifier: str, name: str, fields: dict[str, str]) -> None:
        """Enter a schema; files refer to it by its identifier, old ones by its name."""
        for key in (identifier, name):
            if key:
                self.types.setdefault(key, {}).update(fields)

    def type_of(self, url: str, name: str) -> str:
        """Return the type of a field, ``string`` where nothing is declared."""
        identifier = url.rpartition("#")[2]
        if identifier.startswith(f"{HOUSE}-"):
            suffix = identifier.rpartition("-")[2]
            if suffix in HOUSE_TYPES:
                return suffix
            name = clean_text(name)
        return self.types.get(identifier, {}).get(name, "string")


def read_fields(columns: Mapping[str, TextCells], schemas: Schemas, tell: Tell) -> dict[str, ForeignColumn]:
    """Return all fields of a batch by name, typed as their schemas say, in the order of the file.

    Where two sources give one field (two schemas of one file), they become one column unless they contradict
    each other in a row; then the second is called ``NAME (2)``.
    """
    fields: dict[str, ForeignColumn] = {}
    for name, column in _each_field(columns, schemas, tell):
        _merge(fields, name or "unnamed", column)
    return fields


def _each_field(columns: Mapping[str, TextCells], schemas: Schemas, tell: Tell) -> Iterator[tuple[str, ForeignColumn]]:
    for key, cells in columns.items():
        kind, _, rest = key.partition(SEPARATOR)
        if kind in (DATA, XML) and _:
            yield rest, to_texts(cells)
        elif kind == DISPLAY_NAME and _:
            yield f"{rest} (display name)", to_texts(cells)
        elif kind == SIMPLE and _:
            url, _, name = rest.partition(SEPARATOR)
            yield name, _read_typed(cells, schemas.type_of(url, name), name, tell)


def _merge(fields: dict[str, ForeignColumn], name: str, column: ForeignColumn) -> None:
    free, number = name, 2
    while free in fields:
        merged = _coalesce(fields[free], column)
        if merged is not None:
            fields[free] = merged
            return
        free, number = f"{name} ({number})", number + 1
    fields[free] = column


def _coalesce(first: ForeignColumn, second: ForeignColumn) -> ForeignColumn | None:
    both = has_value(first) & has_value(second)
    mine, theirs = to_items(first), to_items(second)
    if any(mine[row] != theirs[row] for row in np.flatnonzero(both).tolist()):
        return None
    given = has_value(first).tolist()
    return to_foreign_column([a if keep else b for a, b, keep in zip(mine, theirs, given, strict=True)])


def _read_typed(cells: TextCells, type_name: str, name: str, tell: Tell) -> ForeignColumn:
    if type_name in _WHOLE:
        return _read_cast(cells, "int64", int, f"is no whole number ({type_name})", name, tell)
    if type_name in _NUMBERS:
        return _read_cast(cells, "float64", _to_float, f"is no number ({type_name})", name, tell)
    if type_name in _TRUTHS:
        return _read_one_by_one(cells, lambda text: from_text(text, "bool"), "is neither true nor false", name, tell)
    if type_name == "dateTime":
        return _read_instants(cells)
    if type_name == "json":
        return _read_one_by_one(cells, lambda text: from_text(text, "json"), "is no JSON", name, tell)
    if type_name == "mixed":
        return _read_one_by_one(cells, _read_mixed, "carries no type", name, tell)
    return to_texts(cells)


def _read_cast(
    cells: TextCells, arrow_type: str, reader: Callable[[str], Any], what: str, name: str, tell: Tell
) -> ForeignColumn:
    values = _cast(cells, arrow_type)
    if values is None:
        values = _cast(to_cells([text.strip() or None if text else None for text in cells.to_pylist()]), arrow_type)
    if values is None:
        return _read_one_by_one(cells, reader, what, name, tell)
    if arrow_type == "float64" or not values.null_count:
        return to_numbers(values)
    return np.fromiter(values.to_pylist(), dtype=object, count=len(values))


def _cast(cells: TextCells, arrow_type: str) -> Any:
    """Return cells as numbers; ``None`` where one is none as it stands."""
    import pyarrow as pa

    try:
        return cells.cast(arrow_type)
    except pa.ArrowInvalid:
        return None


def read_array(texts: TextColumn, type_name: str) -> ForeignColumn:
    """Return a column that stands beside a track, typed as its schema says; what does not fit the type stays text."""
    return _read_typed(to_cells(texts.tolist()), type_name, "", lambda *told: None)


def _to_float(text: str) -> float:
    if "_" in text:
        raise ValueError(text)
    return float(text)


def _read_one_by_one(cells: TextCells, reader: Callable[[str], Any], what: str, name: str, tell: Tell) -> ForeignColumn:
    texts = cells.to_pylist()
    values: list[Any] = []
    wrong: list[int] = []
    for row, text in enumerate(texts):
        try:
            values.append(reader(text) if text and text.strip() else None)
        except ValueError:
            values.append(text)
            wrong.append(row)
    if wrong:
        tell(name, f"{what}, though its schema says so; it is kept as text", np.array(wrong), texts[wrong[0]])
    return to_foreign_column(np.fromiter(values, dtype=object, count=len(values)))


def _read_instants(cells: TextCells) -> ForeignColumn:
    texts = to_texts(cells)
    parsed = parse_times(texts)
    return texts if len(parsed.without_zone) or len(parsed.unreadable) else parsed.time


def _read_mixed(text: str) -> Any:
    type_name, mark, value = text.partition(":")
    if not mark:
        raise ValueError(text)
    return from_text(value, type_name)
