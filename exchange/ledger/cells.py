"""Columns of the model as the values SQLite stores, and back, exactly.

Missing is NULL. An instant is text as GeoPackage asks for it (``2026-08-14T19:03:05.250Z``, OGC 12-128, table 1).
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from typing import Any

import numpy as np
import orjson
from numpy.typing import NDArray

from exchange.formats.values import format_instant
from exchange.model.columns import (
    TIME_TYPE,
    Coercion,
    ForeignColumn,
    TextColumn,
    TimeColumn,
    to_foreign_column,
    to_items,
    to_number_column,
    to_time_column,
    to_whole_column,
)

INSTANT_LETTERS = len("2026-08-14T19:03:05.250Z")
_MARKED = "$"

SQL_TYPES: dict[Coercion, str] = {to_number_column: "DOUBLE", to_time_column: "DATETIME", to_whole_column: "INTEGER"}
"""The GeoPackage type of a column that is not text."""


def sql_type(kind: Coercion) -> str:
    """Return the GeoPackage type of a declared column."""
    return SQL_TYPES.get(kind, "TEXT")


def to_cells(column: NDArray[Any]) -> list[Any]:
    """Return a declared column as a list of what SQLite stores."""
    if column.dtype.kind == "M":
        return write_instants(column)
    if column.dtype.kind == "f":
        # SQLite keeps no minus sign of zero; without it the seal of what is read is that of what was written.
        cells = (column + 0.0).tolist()
        return [None if gone else cell for cell, gone in zip(cells, np.isnan(column).tolist(), strict=True)]
    if column.dtype.kind == "O":
        return [cell or None for cell in column.tolist()]
    return list(column.tolist())


def from_cells(cells: Sequence[Any], kind: Coercion) -> NDArray[Any]:
    """Return the declared column of ``cells`` that ``to_cells`` wrote."""
    if kind is to_time_column:
        return read_instants(cells)
    if kind is to_number_column:
        return np.array(cells, dtype=np.float64)
    if kind is to_whole_column:
        return np.array(cells, dtype=np.int64)
    return _read_texts(cells)


def write_instants(times: TimeColumn) -> list[str | None]:
    """Return instants as text, ``None`` where missing."""
    texts = np.datetime_as_string(times, unit="ms").tolist()
    return [None if text == "NaT" else text + "Z" for text in texts]


def read_instants(cells: Sequence[str | None]) -> TimeColumn:
    """Return the instants that ``write_instants`` wrote."""
    return np.array(["NaT" if cell is None else cell[:-1] for cell in cells], dtype=TIME_TYPE)


def _read_texts(cells: Sequence[str | None]) -> TextColumn:
    # Equal texts of one batch become one object: a column of sorties then costs next to nothing.
    memo: dict[str, str] = {}
    texts = ("" if cell is None else memo.setdefault(cell, cell) for cell in cells)
    return np.fromiter(texts, dtype=object, count=len(cells))


def write_extra(extra: Mapping[str, ForeignColumn], length: int) -> list[str | None]:
    """Return the foreign fields of each row as one JSON text, ``None`` where a row has none."""
    if not extra:
        return [None] * length
    rows: list[dict[str, Any]] = [{} for _ in range(length)]
    for name, column in extra.items():
        for row, value in zip(rows, to_items(column), strict=True):
            if value is not None and value != "" and value == value:
                row[name] = value
    write = _write_plain if all(_is_plain(name, column) for name, column in extra.items()) else write_json
    return [write(row) if row else None for row in rows]


def _is_plain(name: str, column: ForeignColumn) -> bool:
    """Tell whether a foreign column needs no packing: no instants, no nesting, no mark, nothing infinite."""
    if name.startswith(_MARKED):
        return False
    if column.dtype.kind == "f":
        return not np.isinf(column).any()
    return column.dtype.kind in "ib" or set(map(type, column.tolist())) <= {str, bool, type(None)}


def _write_plain(row: dict[str, Any]) -> str:
    return orjson.dumps(row, option=orjson.OPT_SORT_KEYS).decode()


def read_extra(cells: Sequence[str | None]) -> dict[str, ForeignColumn]:
    """Return the foreign columns of rows that ``write_extra`` wrote."""
    held = [row for row, cell in enumerate(cells) if cell is not None]
    values: dict[str, list[Any]] = {}
    for row in held:
        for name, value in read_json(cells[row]).items():
            if name not in values:
                values[name] = [None] * len(cells)
            values[name][row] = value
    return {name: to_foreign_column(column) for name, column in values.items()}


def write_json(value: Any) -> str:
    """Return JSON text, names in order; an instant becomes ``{"$instant": "..."}``."""
    return json.dumps(_pack(value), ensure_ascii=False, separators=(",", ":"), sort_keys=True)


def read_json(text: str | None) -> Any:
    """Return what ``write_json`` wrote."""
    if text is None:
        return {}
    try:
        loaded = orjson.loads(text)
    except orjson.JSONDecodeError:
        # Whole numbers beyond 64 bits, NaN and deep nesting are more than orjson takes.
        loaded = json.loads(text)
    return _unpack(loaded) if '"$' in text else loaded


def _pack(value: Any) -> Any:
    if isinstance(value, datetime):
        return {"$instant": format_instant(value)}
    if isinstance(value, np.datetime64):
        return {"$instant": None if np.isnat(value) else write_instants(np.array([value], TIME_TYPE))[0]}
    if isinstance(value, np.generic):
        return value.item()
    if isinstance(value, Mapping):
        packed = {name: _pack(inner) for name, inner in value.items()}
        return {"$object": packed} if any(name.startswith(_MARKED) for name in value) else packed
    return [_pack(inner) for inner in value] if isinstance(value, (list, tuple)) else value


def _unpack(value: Any) -> Any:
    if isinstance(value, list):
        return [_unpack(inner) for inner in value]
    if not isinstance(value, dict):
        return value
    if set(value) == {"$instant"}:
        return None if value["$instant"] is None else datetime.fromisoformat(value["$instant"]).astimezone(UTC)
    if set(value) == {"$object"}:
        value = value["$object"]
    return {name: _unpack(inner) for name, inner in value.items()}
