"""Foreign fields as cells of a table of the house, typed, and back."""

from __future__ import annotations

from typing import Any

import numpy as np

from exchange.errors import MalformedError
from exchange.formats.arrow_columns import to_numbers, to_texts
from exchange.formats.text_columns import format_column, format_numbers, format_text
from exchange.formats.values import from_text, to_text, value_type
from exchange.model.columns import ForeignColumn, has_value
from exchange_csv.cells import empty_to_null, to_instants

_BY_KIND = {"i": "int", "f": "double", "b": "bool", "M": "dateTime"}
_BY_TYPE = {int: "int", bool: "bool", str: ""}


def write_cells(column: ForeignColumn) -> tuple[str, Any]:
    """Return the type of a foreign column and its cells as Arrow text, null where missing."""
    import pyarrow as pa

    if column.dtype.kind == "f":
        return "double", format_numbers(column)
    if column.dtype.kind != "O":
        return _BY_KIND[column.dtype.kind], format_column(column)
    items = column.tolist()
    if set(map(type, items)) == {str}:
        return "", format_text(column)
    held = has_value(column).tolist()
    types = {type(item) for item, given in zip(items, held, strict=True) if given}
    if types == {str}:
        return "", pa.array([item or None for item in items], pa.string())
    type_name = _BY_TYPE.get(next(iter(types)), "any") if len(types) == 1 else "any"
    if types <= {list, dict}:
        type_name = "json"
    write = write_any if type_name == "any" else to_text
    texts = [write(item) if given else None for item, given in zip(items, held, strict=True)]
    return type_name, pa.array(texts, pa.string())


def write_value(value: Any) -> tuple[str, str]:
    """Return the type and the text of one foreign value; what would be no text at all is written as JSON."""
    type_name = {"string": ""}.get(value_type(value), value_type(value))
    text = to_text(value)
    if text:
        return type_name, text
    return "json", '""' if isinstance(value, str) else "null"


def write_any(value: Any) -> str:
    """Return one value with its type before it, such as ``int:7``."""
    return f"{value_type(value)}:{to_text(value)}"


def read_any(text: str) -> Any:
    """Return the value that ``write_any`` wrote.

    Raises
    ------
    ValueError
        When the text states no type, or is no value of it.
    """
    type_name, colon, rest = text.partition(":")
    if not colon:
        raise ValueError(f"{text!r} states no type")
    return from_text(rest, type_name)


def read_cells(cells: Any, type_name: str) -> ForeignColumn:
    """Return the values of a foreign column of a stated type; an empty cell is missing.

    Raises
    ------
    ValueError
        When a cell is no value of the type.
    """
    import pyarrow as pa

    if type_name in ("", "text"):
        return to_texts(cells)
    try:
        if type_name == "double":
            return _read_doubles(cells)
        if type_name == "dateTime":
            return to_instants(empty_to_null(cells).cast(pa.timestamp("ms", "UTC")))
        if type_name == "int":
            whole = empty_to_null(cells).cast(pa.int64())
            if not whole.null_count:
                return to_numbers(whole)
    except pa.ArrowInvalid:
        pass  # read one by one below, which names the first that is wrong
    read = read_any if type_name == "any" else lambda text: from_text(text, type_name)
    values = [read(text) if text else None for text in to_texts(cells)]
    return np.fromiter(values, dtype=object, count=len(values))


def _read_doubles(cells: Any) -> ForeignColumn:
    import pyarrow as pa
    import pyarrow.compute as pc

    given = empty_to_null(cells)
    try:
        return to_numbers(given.cast(pa.float64()))
    except pa.ArrowInvalid:
        # A spreadsheet of a country with decimal commas has saved the table.
        return to_numbers(pc.replace_substring(given, ",", ".").cast(pa.float64()))


def read_model_numbers(cells: Any) -> ForeignColumn:
    """Return the cells of a column of numbers of the model, or their text where one is none."""
    import pyarrow as pa

    try:
        return _read_doubles(cells)
    except pa.ArrowInvalid:
        return to_texts(cells)


def read_model_times(cells: Any) -> ForeignColumn:
    """Return the cells of a column of instants of the model, or their text where one is none Arrow knows."""
    import pyarrow as pa

    try:
        return to_instants(empty_to_null(cells).cast(pa.timestamp("ms", "UTC")))
    except pa.ArrowInvalid:
        return to_texts(cells)


def refuse(error: ValueError, path: str, record: int, field: str) -> MalformedError:
    """Return the error that names a cell of a table of the house that is no value of its type."""
    return MalformedError(
        str(error), path=path, record=record, field=field, remedy="Mend the cell, or take the type off the heading."
    )
