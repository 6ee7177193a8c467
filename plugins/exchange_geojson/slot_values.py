"""The values of regular features, cut out of their block by offsets and read as columns in bulk."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from exchange.model.columns import ForeignColumn, NumberColumn, mark_text, take_rows
from exchange_geojson.positions import AXES
from exchange_geojson.rows import Rows
from exchange_geojson.template import Slot, Template

Positions = NDArray[np.int64]

_ZERO, _NINE, _MINUS = ord("0"), ord("9"), ord("-")
_FIRST_OF_LITERAL = b"tfn"
_TO_LOWER = 0x20
_FEW_VALUES = 64
_SAMPLE = 512


class IrregularValuesError(Exception):
    """A value is not what the pattern lets expect, or its kind changes from feature to feature."""


class SlotReader:
    """The slots of some features of one block.

    Parameters
    ----------
    block
        Bytes, known to be UTF-8.
    starts, ends
        Where each slot of each feature is, shape (slots, features).
    missing
        What stands for a missing text.
    """

    def __init__(self, block: bytes, starts: Positions, ends: Positions, missing: str) -> None:
        import pyarrow as pa

        self._bytes = np.frombuffer(block, np.uint8)
        self._starts, self._ends = starts, ends
        self._missing = missing
        slots, self._count = starts.shape
        # Each slot and what stands between two of them is one cell, so that nothing is copied to make the array.
        offsets = np.empty((self._count, slots, 2), dtype=np.int32)
        offsets[:, :, 0], offsets[:, :, 1] = starts.T, ends.T
        cells = offsets.size - 1
        self._cells = pa.StringArray.from_buffers(cells, pa.py_buffer(offsets.ravel()), pa.py_buffer(block))

    def to_rows(self, template: Template, first_record: int) -> Rows:
        """Return the features as columns.

        Raises
        ------
        IrregularValuesError
            When a value is no JSON, or the values of one property are of several kinds.
        """
        columns: dict[str, ForeignColumn] = {}
        axes: dict[str, NumberColumn] = {}
        for index, slot in enumerate(template.slots):
            if slot.kind == "axis":
                axes[slot.name] = self._read_axis(index)
            else:
                columns[slot.name] = self._read_value(index, slot)
        altitude = axes.get(AXES[2], np.full(self._count, np.nan))
        records = np.arange(first_record, first_record + self._count)
        return Rows(axes[AXES[0]], axes[AXES[1]], altitude, columns, records)

    def _read_value(self, index: int, slot: Slot) -> ForeignColumn:
        if slot.kind == "text":
            return self._read_text(index)
        first = self._bytes[self._starts[index]]
        is_literal = np.isin(first, np.frombuffer(_FIRST_OF_LITERAL, np.uint8))
        if is_literal.all():
            return self._read_literals(index)
        return self._read_numbers(index, is_literal)

    def _read_text(self, index: int) -> ForeignColumn:
        cells = self._take(index)
        sample = cells.slice(0, _SAMPLE)
        if len(set(sample.to_pylist())) <= _FEW_VALUES < len(cells):
            return self._read_few(cells)
        return self._clean(cells.to_pylist())

    def _read_few(self, cells: Any) -> ForeignColumn:
        """Return text of few different values: each becomes one Python object only."""
        encoded = cells.dictionary_encode()
        codes = np.frombuffer(encoded.indices.buffers()[1], np.int32, len(cells))
        return take_rows(self._clean(encoded.dictionary.to_pylist()), codes)

    def _clean(self, texts: list[str]) -> ForeignColumn:
        if self._missing in texts:
            texts = ["" if text == self._missing else text for text in texts]
        return mark_text(np.fromiter(texts, dtype=object, count=len(texts)))

    def _read_literals(self, index: int) -> ForeignColumn:
        words = self._take(index).dictionary_encode()
        values = {"true": True, "false": False, "null": None}
        found = words.dictionary.to_pylist()
        if not values.keys() >= set(found):
            raise IrregularValuesError("literal")
        codes = np.frombuffer(words.indices.buffers()[1], np.int32, self._count)
        column = np.empty(len(found), dtype=object)
        column[:] = [values[word] for word in found]
        return column[codes] if None in column else column[codes].astype(bool)

    def _read_numbers(self, index: int, is_missing: NDArray[np.bool_]) -> ForeignColumn:
        """Return numbers that are all whole, or all written with a point or an exponent; null is missing."""
        if is_missing.any():
            return self._read_with_gaps(index, is_missing)
        cells = self._take(index)
        self._require_json_numbers(self._starts[index], self._ends[index])
        return self._cast(cells, _find_kind(cells))

    def _read_with_gaps(self, index: int, is_missing: NDArray[np.bool_]) -> ForeignColumn:
        rows = np.flatnonzero(~is_missing)
        words = self._take(index)
        if set(words.take(_as_indices(np.flatnonzero(is_missing))).dictionary_encode().dictionary.to_pylist()) != {
            "null"
        }:
            raise IrregularValuesError("literal")
        cells = words.take(_as_indices(rows))
        self._require_json_numbers(self._starts[index][rows], self._ends[index][rows])
        kind = _find_kind(cells)
        numbers = np.full(self._count, None, dtype=object) if kind == "int64" else np.full(self._count, np.nan)
        numbers[rows] = self._cast(cells, kind).tolist()
        return numbers

    def _read_axis(self, index: int) -> NumberColumn:
        self._require_json_numbers(self._starts[index], self._ends[index])
        return self._cast(self._take(index), "float64")

    def _require_json_numbers(self, starts: Positions, ends: Positions) -> None:
        """Refuse what a lenient reader would take for a number, and exponents, which are left to the careful way."""
        data = self._bytes
        first = data[starts]
        digit = starts + (first == _MINUS)
        if (digit >= ends).any():
            raise IrregularValuesError("number")
        head = data[digit]
        second = data[np.minimum(digit + 1, len(data) - 1)]
        is_alone = digit + 1 >= ends
        good = _is_digit(head) & _is_digit(data[ends - 1])
        good &= (head != _ZERO) | is_alone | (second == ord("."))
        if not good.all():
            raise IrregularValuesError("number")

    def _cast(self, cells: Any, kind: str) -> NDArray[Any]:
        import pyarrow as pa

        if ((_bytes_of(cells) | _TO_LOWER) == ord("e")).any():
            raise IrregularValuesError("exponent")
        try:
            numbers = cells.cast(kind)
        except pa.ArrowInvalid as error:
            raise IrregularValuesError("number") from error
        read = np.frombuffer(numbers.buffers()[1], np.dtype(kind), len(numbers)).copy()
        if kind == "float64" and not np.isfinite(read).all():
            raise IrregularValuesError("number")
        return read

    def _take(self, index: int) -> Any:
        slots = len(self._starts)
        return self._cells.take(_as_indices(np.arange(self._count) * (2 * slots) + 2 * index))


def _find_kind(cells: Any) -> str:
    """Return the kind of numbers that are all whole, or all have a decimal point: a number has one at most."""
    points = int(np.count_nonzero(_bytes_of(cells) == ord(".")))
    if points not in (0, len(cells)):
        raise IrregularValuesError("whole numbers among others")
    return "float64" if points else "int64"


def _bytes_of(cells: Any) -> NDArray[np.uint8]:
    """Return the bytes of texts that were taken together, end to end."""
    data = cells.buffers()[2]
    return np.frombuffer(data, np.uint8) if data is not None else np.empty(0, np.uint8)


def _as_indices(rows: Positions) -> Any:
    import pyarrow as pa

    return pa.Int64Array.from_buffers(pa.int64(), len(rows), [None, pa.py_buffer(np.ascontiguousarray(rows, np.int64))])


def _is_digit(data: NDArray[np.uint8]) -> NDArray[np.bool_]:
    return (data >= _ZERO) & (data <= _NINE)
