"""One foreign value as text and back, the same in every format that knows text only."""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any

import numpy as np
import orjson

from exchange.model.columns import ForeignColumn, TextColumn, is_text, mark_text, to_items


def to_text(value: Any) -> str:
    """Return one value as text: numbers shortest and exact, truth as true/false, instants in UTC, the rest JSON.

    >>> to_text(7.0), to_text(True), to_text(None), to_text([1, "a"])
    ('7.0', 'true', '', '[1,"a"]')
    """
    if value is None or (isinstance(value, float) and math.isnan(value)):
        return ""
    if isinstance(value, str):
        return value
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, datetime):
        return format_instant(value)
    if isinstance(value, (int, float)):
        return repr(value)
    return _write_json(value)


def _write_json(value: Any) -> str:
    try:
        return orjson.dumps(value, option=orjson.OPT_SORT_KEYS).decode()
    except TypeError:
        # orjson stops at whole numbers beyond 64 bits and at 254 levels, which JSON does not.
        return json.dumps(value, ensure_ascii=False, sort_keys=True, separators=(",", ":"))


def to_texts(column: ForeignColumn) -> TextColumn:
    """Return a column with each value as ``to_text`` writes it, as a column of text."""
    if is_text(column):
        return column
    if column.dtype.kind == "O" and set(map(type, column.tolist())) <= {str}:
        return mark_text(column)
    return mark_text(np.fromiter(map(to_text, to_items(column)), dtype=object, count=len(column)))


def format_instant(value: datetime) -> str:
    """Return an aware instant as ``2026-08-14T19:03:05Z``, with milliseconds only where there are any.

    >>> format_instant(datetime(2026, 8, 14, 19, 3, 5, 250_000, tzinfo=UTC))
    '2026-08-14T19:03:05.250Z'
    """
    value = value.astimezone(UTC)
    text = value.strftime("%Y-%m-%dT%H:%M:%S").rjust(19, "0")
    milliseconds = value.microsecond // 1000
    return f"{text}.{milliseconds:03d}Z" if milliseconds else f"{text}Z"


def value_type(value: Any) -> str:
    """Return the name of a value's type: ``int``, ``double``, ``bool``, ``dateTime``, ``string`` or ``json``."""
    names = {bool: "bool", int: "int", float: "double", str: "string", datetime: "dateTime"}
    return names.get(type(value), "json")


def from_text(text: str, type_name: str) -> Any:
    """Return the value that ``to_text`` wrote; the type by the name that ``value_type`` gave.

    Raises
    ------
    ValueError
        When the text is no value of that type.

    >>> from_text("7", "int"), from_text("7", "string"), from_text("true", "bool")
    (7, '7', True)
    """
    if type_name == "bool":
        return _read_truth(text)
    if type_name == "dateTime":
        return datetime.fromisoformat(text).astimezone(UTC)
    readers: dict[str, Callable[[str], Any]] = {"int": int, "double": float, "json": orjson.loads}
    return readers.get(type_name, str)(text)


def _read_truth(text: str) -> bool:
    words = {"true": True, "1": True, "false": False, "0": False}
    if text.strip().lower() not in words:
        raise ValueError(f"{text!r} is neither true nor false")
    return words[text.strip().lower()]
