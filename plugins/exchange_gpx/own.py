"""Rows that the house wrote, from their texts back to the model's tables, exactly."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from exchange.formats.arrow_columns import to_texts
from exchange.formats.properties import unreadable_value
from exchange.formats.text_columns import TextCells, bytes_of
from exchange.formats.values import from_text
from exchange.formats.xml.characters import restore_text
from exchange.model import Detections, Places, Sources, StatusNotes, Table
from exchange.model.columns import ForeignColumn, to_number_column, to_text_column, to_time_column
from exchange_gpx.columns import PointColumns, read_numbers
from exchange_gpx.take import COLUMN, EXTENSIONS, LEAF, TYPED

AnyTable = TypeVar("AnyTable", bound=Table)

NATIVE: dict[str, tuple[type[Table], dict[str, str]]] = {
    "detection": (Detections, {"ele": "altitude", "time": "time", "name": "name", "desc": "note"}),
    "note": (StatusNotes, {"time": "time", "name": "", "desc": "text"}),
    "place": (
        Places,
        {"ele": "altitude", "time": "time", "name": "name", "desc": "note", "sym": "symbol", "type": "kind"},
    ),
}
"""The tables by the word that marks their rows, and which element of GPX holds which of their columns; a note's name
is only shown."""

FIX_NATIVE = {"ele": "altitude", "time": "time"}
LABELS = {"detection": "id", "note": "detection"}
"""The column that a row without a name is shown by."""

MARK, LABEL, AT = "exchange", "label", "at"


def read_own_table(
    kind: type[AnyTable], points: PointColumns, native: Mapping[str, str], *, source: Sources, **fixed: Any
) -> AnyTable:
    """Return a table from the texts of rows that the house wrote.

    Parameters
    ----------
    kind
        Which table.
    points
        The rows' texts.
    native
        Which element of GPX holds which column.
    source
        Where the rows came from.
    fixed
        Fields of the whole table.

    Raises
    ------
    MalformedError
        When a text is not of its column's kind; names the field and the first record.
    """
    held_by = {column: element for element, column in native.items()} | {"longitude": "@lon", "latitude": "@lat"}
    reader = _OwnReader(points, source)
    columns = {
        name: reader.read_column(name, held_by.get(name, ""), coercion)
        for name, coercion in kind.column_kinds().items()
        if coercion in _KINDS and name not in fixed
    }
    if f"{COLUMN}{LABEL}" in points and "name" in columns:
        shown = reader.read_text(f"{COLUMN}{LABEL}")
        columns["name"] = np.where(shown == columns["name"], "", columns["name"])
    extra = reader.read_extra(native)
    return kind(**columns, **fixed, extra=extra, source=source)


def read_own_extra(points: PointColumns, claimed: Collection[str], source: Sources) -> dict[str, ForeignColumn]:
    """Return the foreign columns of rows that the house wrote, typed as they came; raises as ``read_own_table``.

    Parameters
    ----------
    points
        The rows' texts.
    claimed
        Elements of GPX that hold a column of the model.
    source
        Where the rows came from.
    """
    return _OwnReader(points, source).read_extra(claimed)


_KINDS = (to_text_column, to_number_column, to_time_column)


class _OwnReader:
    """The texts of own rows on their way to columns."""

    def __init__(self, points: PointColumns, source: Sources) -> None:
        self.points, self.source = points, source

    def read_column(self, name: str, element: str, coercion: Any) -> Any:
        """Return one column: what the house's own element says, else what GPX's own says."""
        own, native = COLUMN + name, element
        if coercion is to_text_column:
            return self.read_text(own if own in self.points else native)
        read = self.read_numbers if coercion is to_number_column else self.read_times
        if own not in self.points:
            return read(native, name)
        values, exact = read(native, name).copy(), read(own, name)
        given = np.isfinite(exact) | np.isinf(exact) if exact.dtype.kind == "f" else ~np.isnat(exact)
        values[given] = exact[given]
        return values

    def read_text(self, key: str) -> ForeignColumn:
        texts = self.points.texts(key)
        return restore(texts) if key in self.points and _may_be_escaped(self.points.cells[key]) else texts

    def read_numbers(self, key: str, name: str) -> ForeignColumn:
        read = self.points.numbers(key)
        values = read.values
        if len(read.unreadable):
            values = values.copy()
            texts = self.points.texts(key)
            for row in read.unreadable.tolist():
                values[row] = self.read_infinite(texts[row], name, row)
        return values

    def read_infinite(self, text: str, name: str, row: int) -> float:
        if text not in ("inf", "-inf"):
            raise unreadable_value("number", text, name, row, self.source)
        return float(text)

    def read_times(self, key: str, name: str) -> ForeignColumn:
        read = self.points.times(key)
        if len(read.unreadable):
            row = int(read.unreadable[0])
            raise unreadable_value("time", self.points.texts(key)[row], name, row, self.source)
        return read.values

    def read_extra(self, claimed: Collection[str]) -> dict[str, ForeignColumn]:
        """Return the foreign columns: typed ones of the house's namespace, elements of GPX, whole extensions."""
        typed: dict[str, dict[str, TextCells]] = {}
        extra: dict[str, ForeignColumn] = {}
        for key, cells in self.points.cells.items():
            if key.startswith(TYPED):
                type_name, _, name = key.removeprefix(TYPED).partition(":")
                typed.setdefault(restore_text(name), {})[type_name] = cells
            elif not key.startswith((COLUMN, LEAF, "@")) and key not in claimed:
                extra[key] = self.points.texts(key) if key == EXTENSIONS else self.read_text(key)
        return extra | {name: self.read_typed(name, by_type, extra.get(name)) for name, by_type in typed.items()}

    def read_typed(self, name: str, by_type: Mapping[str, TextCells], beside: ForeignColumn | None) -> ForeignColumn:
        """Return one foreign column from its values by type; ``beside`` are texts that stand in an element of GPX."""
        if beside is None and len(by_type) == 1:
            ((type_name, cells),) = by_type.items()
            if type_name == "string":
                return restore(to_texts(cells)) if _may_be_escaped(cells) else to_texts(cells)
            fast = _read_plain(type_name, cells)
            if fast is not None:
                return fast
        values: list[Any] = [None if text in (None, "") else text for text in ([] if beside is None else beside)]
        values = values or [None] * self.points.length
        for type_name, cells in by_type.items():
            for row, text in enumerate(cells.to_pylist()):
                if text is not None:
                    values[row] = self.read_value(text, type_name, name, row)
        return np.fromiter(values, dtype=object, count=len(values))

    def read_value(self, text: str, type_name: str, name: str, row: int) -> Any:
        try:
            return from_text(restore_text(text), type_name)
        except ValueError as error:
            raise unreadable_value(type_name, text, name, row, self.source) from error


def restore(texts: ForeignColumn) -> ForeignColumn:
    """Return texts with escaped characters brought back."""
    return np.fromiter((restore_text(text) for text in texts), dtype=object, count=len(texts))


def _may_be_escaped(cells: TextCells) -> bool:
    octets = bytes_of(cells)
    return bool((octets == ord("\\")).any())


def _read_plain(type_name: str, cells: TextCells) -> NDArray[Any] | None:
    """Return whole numbers without gaps, or numbers, at once; ``None`` to look at each value."""
    import pyarrow as pa

    if type_name == "double":
        read = read_numbers(cells)
        return None if len(read.unreadable) else read.values
    if type_name != "int" or cells.null_count:
        return None
    try:
        cast = cells.cast(pa.int64())
    except pa.ArrowInvalid:
        return None
    return np.frombuffer(cast.buffers()[1], np.int64, len(cast), cast.offset * 8)
