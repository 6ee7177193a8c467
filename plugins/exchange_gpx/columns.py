"""The texts of many points as columns, gathered from runs of scanned records and from single elements."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, tzinfo
from typing import Any

import numpy as np
from numpy.typing import NDArray

from exchange.formats.arrow_columns import to_numbers, to_texts
from exchange.formats.text_columns import TextCells, bytes_of, to_arrow_numbers, to_cells
from exchange.formats.time_text import parse_times
from exchange.formats.xml.stream import Run
from exchange.model.columns import NumberColumn, TextColumn, TimeColumn

_NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?", re.ASCII)


@dataclass
class PointBuffer:
    """Points as they come, in order.

    Attributes
    ----------
    length
        How many it holds.
    """

    length: int = 0
    _parts: list[PointColumns] = field(default_factory=list)
    _single: list[Mapping[str, str]] = field(default_factory=list)

    def add_run(self, run: Run) -> None:
        """Take the records of a run."""
        self._close_single()
        rows = run.rows.stop - run.rows.start
        cells = {key: column.slice(run.rows.start, rows) for key, column in run.scan.columns.items()}
        self._parts.append(PointColumns(cells, rows))
        self.length += rows

    def add(self, taken: Mapping[str, str]) -> None:
        """Take what was taken of a single element."""
        self._single.append(taken)
        self.length += 1

    def take_all(self) -> PointColumns:
        """Return everything and begin anew."""
        self._close_single()
        whole = _join(self._parts)
        self._parts, self.length = [], 0
        return whole

    def _close_single(self) -> None:
        if self._single:
            keys = dict.fromkeys(key for taken in self._single for key in taken)
            cells = {key: to_cells([taken.get(key) for taken in self._single]) for key in keys}
            self._parts.append(PointColumns(cells, len(self._single)))
            self._single = []


@dataclass(frozen=True)
class ReadNumbers:
    """Numbers read from text; NaN where missing, and the rows whose text is none."""

    values: NumberColumn
    unreadable: NDArray[np.int64]


@dataclass(frozen=True)
class ReadTimes:
    """Instants read from text; NaT where missing, the rows whose text is none, and those that carry no zone."""

    values: TimeColumn
    unreadable: NDArray[np.int64]
    without_zone: NDArray[np.int64]


@dataclass(frozen=True)
class PointColumns:
    """Texts of ``length`` points by key, null where a point has none."""

    cells: Mapping[str, TextCells]
    length: int

    def __contains__(self, key: str) -> bool:
        """Tell whether some point has this text."""
        return key in self.cells and self.cells[key].null_count < self.length

    def take(self, rows: NDArray[np.int64]) -> PointColumns:
        """Return the chosen points."""
        chosen = to_arrow_numbers(rows)
        return PointColumns({key: cells.take(chosen) for key, cells in self.cells.items()}, len(rows))

    def texts(self, key: str) -> TextColumn:
        """Return a column of text, empty where missing."""
        return to_texts(self.cells[key]) if key in self.cells else np.full(self.length, "", dtype=object)

    def numbers(self, key: str) -> ReadNumbers:
        """Return a column of numbers."""
        return read_numbers(self.cells[key]) if key in self.cells else ReadNumbers(np.full(self.length, np.nan), _NONE)

    def times(self, key: str, *, zone: tzinfo | None = None) -> ReadTimes:
        """Return a column of instants; those without a zone are in ``zone``, by default in UTC."""
        if key not in self.cells:
            return ReadTimes(np.full(self.length, np.datetime64("NaT", "ms")), _NONE, _NONE)
        return read_times(self.cells[key], zone=zone or UTC)


_NONE = np.empty(0, dtype=np.int64)


def _join(parts: list[PointColumns]) -> PointColumns:
    import pyarrow as pa

    if len(parts) == 1:
        return parts[0]
    keys = dict.fromkeys(key for part in parts for key in part.cells)
    cells = {
        key: pa.concat_arrays(
            [part.cells[key] if key in part.cells else pa.nulls(part.length, pa.string()) for part in parts]
        )
        for key in keys
    }
    return PointColumns(cells, sum(part.length for part in parts))


def read_numbers(cells: TextCells) -> ReadNumbers:
    """Read decimal numbers, blanks around them allowed."""
    import pyarrow as pa

    try:
        cast = cells.cast(pa.float64())
        values = to_numbers(cast)
        if np.isfinite(values).sum() == len(cells) - cells.null_count:
            return ReadNumbers(values, _NONE)
    except pa.ArrowInvalid:
        pass  # Some text is no plain number: look at each.
    texts = [(text or "").strip() for text in cells.to_pylist()]
    good = [bool(_NUMBER.fullmatch(text)) for text in texts]
    values = np.array([float(text) if is_good else np.nan for text, is_good in zip(texts, good, strict=True)])
    return ReadNumbers(values, _rows(not is_good and text for text, is_good in zip(texts, good, strict=True)))


def read_times(cells: TextCells, *, zone: tzinfo) -> ReadTimes:
    """Read ISO 8601 times, blanks around them allowed."""
    fast = _read_regular_times(cells)
    if fast is not None:
        return ReadTimes(fast, _NONE, _NONE)
    texts = [(text or "").strip() for text in cells.to_pylist()]
    parsed = parse_times(texts)
    if not len(parsed.without_zone):
        return ReadTimes(parsed.time, parsed.unreadable, _NONE)
    return ReadTimes(parse_times(texts, zone=zone).time, parsed.unreadable, parsed.without_zone)


def _read_regular_times(cells: TextCells) -> TimeColumn | None:
    """Read texts that all look like ``2026-08-14T19:03:05Z`` at once."""
    import pyarrow as pa

    table = bytes_of(cells)
    if cells.null_count or len(table) != 20 * len(cells) or not (table[19::20] == ord("Z")).all():
        return None
    if not (table[10::20] == ord("T")).all() or not (table[13::20] == ord(":")).all():
        return None
    try:
        cast = cells.cast(pa.timestamp("ms", tz="UTC"))
    except pa.ArrowInvalid:
        return None
    return np.frombuffer(cast.buffers()[1], "datetime64[ms]", len(cast), cast.offset * 8)


def _rows(flags: Any) -> NDArray[np.int64]:
    return np.flatnonzero(np.fromiter((bool(flag) for flag in flags), dtype=bool))
