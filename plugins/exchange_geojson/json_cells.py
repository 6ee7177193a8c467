"""Columns of the model as columns of JSON values, and single values as JSON."""

from __future__ import annotations

import json
import re
from datetime import UTC, datetime
from typing import Any

import numpy as np
import orjson
from numpy.typing import NDArray

from exchange.formats.text_columns import TextCells, format_column, format_numbers, format_times, wrap_cells
from exchange.model import Problem
from exchange.model.columns import ForeignColumn, TextColumn, to_items
from exchange_geojson.names import INSTANT, LITERAL

_HALF_PAIR = re.compile("[\ud800-\udfff]")


class JsonWriter:
    """Write values as JSON; what JSON cannot hold is left in ``problems``."""

    def __init__(self) -> None:
        self.problems: list[Problem] = []

    def to_cells(self, column: ForeignColumn, *, field: str) -> TextCells:
        """Return a column as JSON values, ``null`` where it is missing, shape (n,)."""
        before, cells, after = self.to_parts(column, field=field)
        return wrap_cells(before, cells, after) if before else cells

    def to_parts(self, column: ForeignColumn, *, field: str, is_text: bool = False) -> tuple[str, TextCells, str]:
        """Return a column as JSON values, with what stands before and behind each of them.

        Parameters
        ----------
        column
            Shape (n,).
        field
            Its name, for what is told.
        is_text
            Whether it is known to hold text only.
        """
        import pyarrow.compute as pc

        if column.dtype.kind == "M":
            cells, mark = format_times(column), '"'
        elif column.dtype.kind == "O" and (is_text or set(map(type, column.tolist())) <= {str}):
            cells, mark = self._to_text(column, field)
        else:
            cells, mark = self._to_cells(column, field), ""
        if not cells.null_count:
            return mark, cells, mark
        return "", pc.fill_null(wrap_cells(mark, cells, mark) if mark else cells, "null"), ""

    def to_numbers(self, column: NDArray[np.float64], *, field: str) -> TextCells:
        """Return numbers as JSON numbers with a decimal point, null (no text) where they are missing or infinite."""
        infinite = np.isinf(column)
        if infinite.any():
            self._tell("infinity is no JSON number; the value was left out", field, "", int(infinite.sum()))
            column = np.where(infinite, np.nan, column)
        return format_numbers(column, with_point=True)

    def dump(self, value: Any, *, field: str = "") -> str:
        """Return one value as JSON; instants as the objects that ``restore_instants`` knows."""
        plain = self._prepare(value, field)
        try:
            return orjson.dumps(plain).decode()
        except TypeError:
            # Whole numbers beyond 64 bits, which JSON holds and orjson does not write.
            return json.dumps(plain, ensure_ascii=False, allow_nan=False, separators=(",", ":"))

    def _to_cells(self, column: ForeignColumn, field: str) -> TextCells:
        if column.dtype.kind == "f":
            return self.to_numbers(column, field=field)
        if column.dtype.kind != "O":
            return format_column(column)
        return _as_cells([None if value is None else self.dump(value, field=field) for value in to_items(column)])

    def _to_text(self, column: TextColumn, field: str) -> tuple[TextCells, str]:
        """Return texts, null where empty, and the mark that they still need around them."""
        import pyarrow as pa
        import pyarrow.compute as pc

        try:
            texts = pa.array(column, pa.string())
        except UnicodeEncodeError:
            texts = pa.array([self._clean(text, field) for text in column.tolist()], pa.string())
        is_empty = pc.equal(pc.binary_length(texts), 0)
        if pc.any(is_empty).as_py():
            texts = pc.if_else(is_empty, None, texts)
        rows = _find_special(texts)
        return (texts, '"') if not len(rows) else (_escape(texts, rows), "")

    def _clean(self, text: str, field: str) -> str:
        cleaned = _HALF_PAIR.sub("\ufffd", text)
        if cleaned != text:
            self._tell("half a surrogate pair is no character and was replaced", field, ascii(text), 1)
        return cleaned

    def _prepare(self, value: Any, field: str) -> Any:
        """Return a value as one made of what JSON knows."""
        if isinstance(value, str):
            return self._clean(value, field)
        if value is None or isinstance(value, (bool, int)):
            return value
        if isinstance(value, float):
            if value - value != 0:
                self._tell_lost_number(value, field)
                return None
            return value
        if isinstance(value, (list, tuple)):
            return [self._prepare(item, field) for item in value]
        if isinstance(value, dict):
            return self._prepare_object(value, field)
        return self._prepare_other(value, field)

    def _prepare_object(self, value: dict[Any, Any], field: str) -> dict[str, Any]:
        prepared = {self._clean(str(name), field): self._prepare(item, field) for name, item in value.items()}
        return {LITERAL: prepared} if prepared.keys() in ({INSTANT}, {LITERAL}) else prepared

    def _prepare_other(self, value: Any, field: str) -> Any:
        if isinstance(value, np.datetime64):
            return None if np.isnat(value) else {INSTANT: f"{value.astype('datetime64[ms]')}Z"}
        if isinstance(value, datetime):
            return {INSTANT: value.astimezone(UTC).isoformat()} if value.tzinfo else value.isoformat()
        if isinstance(value, np.generic):
            return self._prepare(value.item(), field)
        self._tell("the value is of no kind that JSON knows; it was written as text", field, str(value), 1)
        return self._clean(str(value), field)

    def _tell_lost_number(self, value: float, field: str) -> None:
        if value == value:
            self._tell("infinity is no JSON number; the value was left out", field, "", 1)

    def _tell(self, message: str, field: str, value: str, count: int) -> None:
        self.problems.append(Problem(message=message, severity="changed", field=field, value=value, count=count))


def _escape(texts: TextCells, rows: NDArray[np.int64]) -> TextCells:
    """Return the texts in quotes, those of the given rows escaped one by one."""
    import pyarrow as pa
    import pyarrow.compute as pc

    mask = np.zeros(len(texts), dtype=bool)
    mask[rows] = True
    escaped = [orjson.dumps(text).decode() for text in texts.take(pa.array(rows)).to_pylist()]
    return pc.replace_with_mask(wrap_cells('"', texts, '"'), mask, pa.array(escaped, pa.string()))


def _find_special(texts: TextCells) -> NDArray[np.int64]:
    """Return the rows that hold a quote, a backslash or a control character."""
    _, bounds, data = texts.buffers()
    if data is None:
        return np.empty(0, dtype=np.int64)
    offsets = np.frombuffer(bounds, np.int32, len(texts) + 1, texts.offset * 4)
    characters = np.frombuffer(data, np.uint8)
    special = (characters < 32) | (characters == ord('"')) | (characters == ord("\\"))
    places = np.flatnonzero(special)
    rows = np.unique(np.searchsorted(offsets, places, side="right") - 1)
    return rows[(rows >= 0) & (rows < len(texts))]


def _as_cells(values: list[str | None]) -> TextCells:
    import pyarrow as pa

    return pa.array(values, pa.string())


def to_json_text(name: str) -> str:
    """Return a name as JSON text."""
    return orjson.dumps(_HALF_PAIR.sub("\ufffd", name)).decode()
