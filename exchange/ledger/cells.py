"""Columns of the model as the values SQLite stores, and back, exactly.

Missing is NULL. An instant is text as GeoPackage asks for it (``2026-08-14T19:03:05.250Z``, OGC 12-128, table 1).
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from typing import Any, cast

import numpy as np
import orjson
from numpy.typing import NDArray

from exchange.formats.packed_json import INSTANT, MARKED, OBJECT, pack_value, unpack_value
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
    if None not in cells and set(map(len, cast(Sequence[str], cells))) == {INSTANT_LETTERS}:
        # All of one length, the Z falls off by the narrower type.
        texts = np.array(cells, dtype=f"U{INSTANT_LETTERS}").astype(f"U{INSTANT_LETTERS - 1}")
        return texts.astype(TIME_TYPE)
    return np.array(["NaT" if cell is None else cell[:-1] for cell in cells], dtype=TIME_TYPE)


def _read_texts(cells: Sequence[str | None]) -> TextColumn:
    # Equal texts of one batch become one object: a column of sorties then costs next to nothing.
    memo: dict[str | None, str] = {None: ""}
    return np.fromiter(map(memo.setdefault, cells, cast(Sequence[str], cells)), dtype=object, count=len(cells))


def write_extra(extra: Mapping[str, ForeignColumn], length: int) -> list[str | None]:
    """Return the foreign fields of each row as one JSON text, ``None`` where a row has none."""
    if any(name.startswith(MARKED) for name in extra):
        return _write_marked(extra, length)
    rows: list[dict[str, Any]] = [{} for _ in range(length)]
    for name, column in extra.items():
        for row, value in zip(rows, _to_json_values(column), strict=True):
            if value is not None and value != "":
                row[name] = value
    is_plain = all(_is_plain(column) for column in extra.values())
    write = _write_plain if is_plain else _write_strange
    return [write(row) if row else None for row in rows]


def _to_json_values(column: ForeignColumn) -> list[Any]:
    """Return a foreign column as what JSON holds, ``None`` where missing."""
    if column.dtype.kind == "M":
        return [cell and {INSTANT: cell} for cell in write_instants(column)]
    if column.dtype.kind == "f":
        return [None if value != value else value for value in column.tolist()]
    return list(column.tolist()) if _is_plain(column) else [pack_value(value) for value in column.tolist()]


def _is_plain(column: ForeignColumn) -> bool:
    """Tell whether the fast writer holds every value of a column: nothing nested, infinite or beyond 64 bits."""
    if column.dtype.kind == "f":
        return not np.isinf(column).any()
    return column.dtype.kind in "ibM" or set(map(type, column.tolist())) <= {str, bool, type(None)}


def _write_plain(row: dict[str, Any]) -> str:
    return orjson.dumps(row, option=orjson.OPT_SORT_KEYS).decode()


def _write_strange(row: dict[str, Any]) -> str:
    return json.dumps(row, ensure_ascii=False, separators=(",", ":"), sort_keys=True)


def _write_marked(extra: Mapping[str, ForeignColumn], length: int) -> list[str | None]:
    columns = [to_items(column) for column in extra.values()]
    pairs = ([(n, v) for n, v in zip(extra, row, strict=True) if v is not None and v != "" and v == v]
             for row in zip(*columns, strict=True))  # fmt: skip
    return [write_json(dict(row)) if row else None for row in pairs]


def read_extra(cells: Sequence[str | None]) -> dict[str, ForeignColumn]:
    """Return the foreign columns of rows that ``write_extra`` wrote."""
    values: dict[str, list[Any]] = {}
    for row, cell in enumerate(cells):
        if cell is None:
            continue
        loaded = _load(cell)
        for name, value in loaded.get(OBJECT, loaded).items():
            if name not in values:
                values[name] = [None] * len(cells)
            values[name][row] = value
    return {name: _read_foreign(column) for name, column in values.items()}


def _read_foreign(values: list[Any]) -> ForeignColumn:
    kinds = set(map(type, values))
    if dict not in kinds and list not in kinds:
        return to_foreign_column(values)
    if kinds <= {dict, type(None)} and all(value is None or INSTANT in value for value in values):
        return read_instants([None if value is None else value[INSTANT] for value in values])
    return to_foreign_column([unpack_value(value) for value in values])


def write_json(value: Any) -> str:
    """Return JSON text, names in order; an instant becomes ``{"$instant": "..."}``."""
    return json.dumps(pack_value(value), ensure_ascii=False, separators=(",", ":"), sort_keys=True)


def read_json(text: str | None) -> Any:
    """Return what ``write_json`` wrote."""
    return {} if text is None else unpack_value(_load(text))


def _load(text: str) -> Any:
    try:
        return orjson.loads(text)
    except orjson.JSONDecodeError:
        # Infinity and deep nesting are more than orjson takes.
        return json.loads(text)
