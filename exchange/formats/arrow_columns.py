"""Arrow arrays to numpy and back without pandas, which Arrow's own conversions import wherever it is installed.

That import takes longer than reading a small file does.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from exchange.formats.text_columns import TextCells, to_arrow_numbers
from exchange.model.columns import TextColumn, mark_text

_SAMPLE = 256


def to_texts(cells: TextCells) -> TextColumn:
    """Return cells as a column of text, empty where missing; texts that stand in many rows are made once."""
    if len(cells) > 2 * _SAMPLE and _repeats(cells):
        texts, code = code_cells(cells)
        return mark_text(np.array(texts, dtype=object)[code])
    items = cells.to_pylist()
    given = (text or "" for text in items) if cells.null_count else items
    return mark_text(np.fromiter(given, dtype=object, count=len(items)))


def _repeats(cells: TextCells) -> bool:
    return len(cells.slice(0, _SAMPLE).dictionary_encode().dictionary) < _SAMPLE // 4


def to_mask(flags: Any) -> NDArray[np.bool_]:
    """Return an array of truth values; missing is false."""
    mask = _read_bits(flags.buffers()[1], flags)
    return mask & find_valid(flags) if flags.null_count else mask


def find_valid(array: Any) -> NDArray[np.bool_]:
    """Return which rows of an array hold a value."""
    buffer = array.buffers()[0]
    if not array.null_count or buffer is None:
        return np.full(len(array), not array.null_count)
    return _read_bits(buffer, array)


def to_numbers(array: Any) -> NDArray[Any]:
    """Return an array of numbers, a missing float as NaN; whole numbers must not be missing."""
    kind = np.dtype(str(array.type).replace("double", "float64"))
    values = np.frombuffer(array.buffers()[1] or b"", kind, len(array), array.offset * kind.itemsize)
    if not array.null_count:
        return values
    return np.where(find_valid(array), values, np.nan)


def code_cells(cells: TextCells) -> tuple[list[str], NDArray[np.int64]]:
    """Return the distinct texts of cells, missing as the empty one, and which of them each row has."""
    coded = cells.dictionary_encode()
    texts = [str(text) for text in coded.dictionary.to_pylist()]
    codes = np.where(find_valid(coded.indices), to_numbers_or_zero(coded.indices), len(texts))
    return [*texts, ""], codes.astype(np.int64)


def to_numbers_or_zero(array: Any) -> NDArray[Any]:
    """Return an array of whole numbers; what stands in a missing one means nothing."""
    kind = np.dtype(str(array.type))
    return np.frombuffer(array.buffers()[1] or b"", kind, len(array), array.offset * kind.itemsize)


def no_cells(length: int) -> TextCells:
    """Return cells that are all missing."""
    import pyarrow as pa

    return pa.nulls(length, pa.string())


def take_rows(cells: TextCells, rows: NDArray[np.int64]) -> TextCells:
    """Return some rows of cells, in that order."""
    return cells.take(to_arrow_numbers(rows))


def _read_bits(buffer: Any, array: Any) -> NDArray[np.bool_]:
    if not len(array):
        return np.zeros(0, dtype=bool)
    octets = np.frombuffer(buffer, np.uint8)
    bits = np.unpackbits(octets, count=array.offset + len(array), bitorder="little")
    return bits[array.offset :].astype(bool)
