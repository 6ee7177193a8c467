"""Columns of the model as columns of text, and rows of text joined from them, many thousand at a time.

Numbers are written shortest and exact, never with an exponent, since neither GPX nor KML nor decimal degrees in a
table allow one; times as RFC 3339 with ``Z``. A missing value is null, so that its cell can be left out.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from decimal import Decimal
from typing import Any, BinaryIO

import numpy as np
from numpy.typing import NDArray

from exchange.formats.values import to_text
from exchange.model.columns import ForeignColumn, NumberColumn, TimeColumn, has_value, to_items

TextCells = Any
"""A pyarrow string array, one cell a row, null where missing (pyarrow publishes no types)."""

_LETTER_T, _LETTER_Z = ord("T"), ord("Z")


def format_column(column: ForeignColumn) -> TextCells:
    """Return any column of the model as text by its kind, null where it is missing, shape (n,).

    Instants become ``2026-08-14T19:03:05Z``, truth values ``true`` and ``false``; nested values become JSON.
    """
    if column.dtype.kind == "f":
        return format_numbers(column)
    if column.dtype.kind == "M":
        return format_times(column)
    if column.dtype.kind in "iub":
        import pyarrow as pa

        numbers = to_arrow_flags(column) if column.dtype.kind == "b" else to_arrow_numbers(column)
        return numbers.cast(pa.string())
    return format_text(column)


def format_numbers(values: NumberColumn, *, with_point: bool = False) -> TextCells:
    """Return float64 values as the shortest decimal text that reads back the same; NaN is null.

    Parameters
    ----------
    values
        Shape (n,).
    with_point
        Whether a whole number is written ``3.0``, so that it reads back as no integer, or ``3``.

    >>> format_numbers(np.array([-117.25, 1e-07, 1e22, 3.0, np.nan])).to_pylist()
    ['-117.25', '0.0000001', '10000000000000000000000', '3', None]
    """
    import pyarrow as pa
    import pyarrow.compute as pc

    texts = to_arrow_numbers(values, valid=~np.isnan(values)).cast(pa.string())
    with_exponent = _may_have_exponent(values)
    if with_exponent.any():
        plain = [f"{Decimal(repr(number)):f}".removesuffix(".0") for number in values[with_exponent].tolist()]
        texts = pc.replace_with_mask(texts, to_arrow_flags(with_exponent), to_cells(plain))
    whole = np.isfinite(values) & (values == np.trunc(values))
    if not with_point or not whole.any():
        return texts
    return pc.if_else(to_arrow_flags(whole), wrap_cells("", texts, ".0"), texts)


def _may_have_exponent(values: NumberColumn) -> NDArray[np.bool_]:
    # Arrow writes an exponent from 1e15 up and below 1e-6; a wider net costs nothing.
    size = np.abs(values)
    with np.errstate(invalid="ignore"):
        return np.asarray(((size >= 1e10) & np.isfinite(size)) | ((size < 1e-3) & (size > 0)))


def format_times(values: TimeColumn) -> TextCells:
    """Return instants in UTC as RFC 3339 text with ``Z``, milliseconds only where there are any; NaT is null.

    >>> format_times(np.array(["2026-08-14T19:03:05", "2026-08-14T19:03:05.250"], "M8[ms]")).to_pylist()
    ['2026-08-14T19:03:05Z', '2026-08-14T19:03:05.250Z']
    """
    missing = np.isnat(values)
    milliseconds = np.where(missing, 0, values.astype(np.int64))
    if not _fits_four_digits(milliseconds):
        texts = [None if lost else f"{value}Z" for lost, value in zip(missing, values.astype(str), strict=True)]
        return to_cells(texts)
    fraction = milliseconds % 1000 != 0
    table = _write_times(milliseconds, with_fraction=bool(fraction.any()))
    lengths = np.where(fraction, 24, 20)
    if not fraction.any():
        return _from_bytes(table.ravel(), lengths, ~missing)
    table[~fraction, 19] = _LETTER_Z
    kept = np.arange(24) < lengths[:, None]
    return _from_bytes(table[kept], lengths, ~missing)


def _fits_four_digits(milliseconds: NDArray[np.int64]) -> bool:
    first, last = np.array(["0001-01-01", "9999-12-31T23:59:59.999"], dtype="M8[ms]").astype(np.int64)
    return bool(((milliseconds >= first) & (milliseconds <= last)).all())


def _write_times(milliseconds: NDArray[np.int64], *, with_fraction: bool) -> NDArray[np.uint8]:
    """Return the bytes of each time with ``T`` and ``Z``, shape (n, 20), or (n, 24) with a fraction."""
    import pyarrow as pa

    unit, width = ("ms", 23) if with_fraction else ("s", 19)
    times = milliseconds if with_fraction else milliseconds // 1000
    written = to_arrow_numbers(times).cast(pa.timestamp(unit)).cast(pa.string())
    table = np.empty((len(times), width + 1), dtype=np.uint8)
    table[:, :width] = np.frombuffer(written.buffers()[2] or b"", np.uint8, len(times) * width).reshape(-1, width)
    table[:, 10], table[:, width] = _LETTER_T, _LETTER_Z
    return table


def _from_bytes(data: NDArray[np.uint8], lengths: NDArray[Any], valid: NDArray[np.bool_]) -> TextCells:
    import pyarrow as pa

    offsets = np.zeros(len(lengths) + 1, dtype=np.int64)
    np.cumsum(lengths, out=offsets[1:])
    texts = pa.LargeStringArray.from_buffers(
        len(lengths), pa.py_buffer(offsets), pa.py_buffer(np.ascontiguousarray(data)), _to_bits(valid)
    )
    return texts.cast(pa.string()) if offsets[-1] < 2**31 else texts


def format_text(values: ForeignColumn) -> TextCells:
    """Return a column of objects as text, null where it is missing; what is no text is written by ``to_text``.

    A lone half of a surrogate pair, which no encoding can hold, must have been taken out before (``clean_text``).
    """
    import pyarrow as pa
    import pyarrow.compute as pc

    try:
        texts = pa.array(values, pa.string())
    except (pa.ArrowInvalid, pa.ArrowTypeError):
        texts = to_cells([to_text(value) for value in to_items(values)])
    return pc.if_else(pc.equal(pc.binary_length(texts), 0), None, texts)


def clean_cells(values: ForeignColumn) -> TextCells:
    """Return a column of objects as text that XML 1.0 can hold (``clean_text``), null where missing."""
    from exchange.formats.xml.characters import clean_text

    try:
        texts = format_text(values)
    except UnicodeEncodeError:
        return to_cells([clean_text(to_text(value)) or None for value in to_items(values)])
    if not _may_need_cleaning(texts):
        return texts
    return to_cells([None if text is None else clean_text(text) for text in texts.to_pylist()])


def _may_need_cleaning(texts: TextCells) -> bool:
    data = bytes_of(texts)
    allowed = sum(int(np.count_nonzero(data == white)) for white in b"\t\n\r")
    raw = data.tobytes() if (data == 0xEF).any() or (data == ord("\\")).any() else b""
    return int(np.count_nonzero(data < 32)) > allowed or b"\\u" in raw or b"\xef\xbf" in raw


def escape_xml(texts: TextCells, *, in_attribute: bool = False) -> TextCells:
    """Return texts with the marks of XML escaped; a column without any comes back as it is.

    A carriage return travels as a character reference, since XML would read it as a line feed; in an attribute so
    do tab and line feed.
    """
    import pyarrow.compute as pc

    marks = {"&": "&amp;", "<": "&lt;", ">": "&gt;", "\r": "&#xD;"}
    if in_attribute:
        marks |= {'"': "&quot;", "\t": "&#x9;", "\n": "&#xA;"}
    data = bytes_of(texts)
    for mark in [mark for mark in marks if (data == ord(mark)).any()]:
        texts = pc.replace_substring(texts, mark, marks[mark])
    return texts


def bytes_of(texts: TextCells) -> NDArray[np.uint8]:
    """Return the bytes of all texts laid end to end."""
    _, offsets, data = texts.buffers()
    if data is None or not len(texts):
        return np.empty(0, dtype=np.uint8)
    width = np.int64 if str(texts.type) == "large_string" else np.int32
    bounds = np.frombuffer(offsets, width, len(texts) + 1, texts.offset * np.dtype(width).itemsize)
    return np.frombuffer(data, np.uint8)[bounds[0] : bounds[-1]]


def to_cells(items: Sequence[str | None]) -> TextCells:
    """Return texts as cells, null where ``None``.

    Arrow's own conversions of Python values import pandas wherever it is installed, which costs a reader of small
    files most of its time; this one and the two below do without.
    """
    import pyarrow as pa

    present = np.fromiter((item is not None for item in items), dtype=bool, count=len(items))
    texts = [item or "" for item in items]
    data = "".join(texts).encode()
    lengths = np.fromiter(map(len, texts), dtype=np.int64, count=len(texts))
    if int(lengths.sum()) != len(data):
        lengths = np.fromiter((len(text.encode()) for text in texts), dtype=np.int64, count=len(texts))
    offsets = np.zeros(len(texts) + 1, dtype=np.int64)
    np.cumsum(lengths, out=offsets[1:])
    cells = pa.LargeStringArray.from_buffers(len(texts), pa.py_buffer(offsets), pa.py_buffer(data), _to_bits(present))
    return cells.cast(pa.string()) if offsets[-1] < 2**31 else cells


def to_arrow_numbers(values: NDArray[Any], *, valid: NDArray[np.bool_] | None = None) -> Any:
    """Return numbers of an integer or float type as an Arrow array over the same memory, null where not ``valid``."""
    import pyarrow as pa

    kept = np.ascontiguousarray(values)
    bits = None if valid is None else _to_bits(valid)
    return pa.Array.from_buffers(pa.from_numpy_dtype(kept.dtype), len(kept), [bits, pa.py_buffer(kept)])


def to_arrow_flags(rows: NDArray[np.bool_]) -> Any:
    """Return truth values as an Arrow array."""
    import pyarrow as pa

    bits = pa.py_buffer(np.packbits(rows, bitorder="little").tobytes())
    return pa.Array.from_buffers(pa.bool_(), len(rows), [None, bits])


def _to_bits(valid: NDArray[np.bool_]) -> Any:
    """Return which rows hold a value as Arrow wants it: nothing where all do."""
    import pyarrow as pa

    return None if valid.all() else pa.py_buffer(np.packbits(valid, bitorder="little").tobytes())


def _to_argument(part: TextCells | str) -> Any:
    return to_cells([part])[0] if isinstance(part, str) else part


def wrap_cells(before: str, cells: TextCells, after: str) -> TextCells:
    """Return each cell between two texts; a missing cell stays missing, its wrapping with it."""
    import pyarrow.compute as pc

    parts = map(_to_argument, (before, cells, after, ""))
    return pc.binary_join_element_wise(*parts, null_handling="emit_null")


def join_rows(parts: Sequence[TextCells | str]) -> TextCells:
    """Return one text a row: its cells joined in order, missing ones left out; a ``str`` stands in every row."""
    import pyarrow.compute as pc

    # Of one array alone Arrow would leave out the rows that are null, not only their text.
    return pc.binary_join_element_wise(*map(_to_argument, ("", *parts, "")), null_handling="skip")


def write_rows(stream: BinaryIO, rows: TextCells | Iterable[TextCells]) -> None:
    """Write rows of text end to end, as UTF-8.

    Raises
    ------
    OSError
        When the stream cannot be written to.
    """
    for part in [rows] if hasattr(rows, "buffers") else rows:
        stream.write(memoryview(bytes_of(part)))  # type: ignore[arg-type]  # an array of bytes is a buffer


def slices(length: int, rows: int = 65_536) -> Iterable[slice]:
    """Return the slices that take ``length`` rows a batch at a time."""
    return (slice(start, min(start + rows, length)) for start in range(0, length, rows))


def mask_missing(column: ForeignColumn) -> NDArray[np.bool_]:
    """Return which rows of a column hold no value."""
    return np.asarray(~has_value(column))
