"""Cells of text: formulas made harmless and restored, Arrow's texts as Python's."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from exchange.formats.arrow_columns import find_valid, to_numbers_or_zero
from exchange.formats.formulas import escape_formula, unescape_formula
from exchange.model.columns import TimeColumn

# Of what ``exchange.formats.formulas`` escapes, in the words of Arrow's regular expressions.
_RISKY_FIRST = r"^'*[=+\-@\t\r\n\x00\x{ff1d}\x{ff0b}\x{ff0d}\x{ff20}]"


def escape_cells(cells: Any) -> Any:
    """Escape the formulas of an Arrow column of text; see ``escape_formula``."""
    import pyarrow.compute as pc

    risky = pc.match_substring_regex(cells, _RISKY_FIRST)
    if not pc.any(risky).as_py():
        return cells
    escaped = [escape_formula(text) for text in cells.filter(risky).to_pylist()]
    return pc.replace_with_mask(cells, risky, to_cells(escaped))


def unescape_cells(cells: Any) -> Any:
    """Restore an Arrow column of text that ``escape_cells`` escaped."""
    import pyarrow.compute as pc

    marked = pc.starts_with(cells, "'")
    if not pc.any(marked).as_py():
        return cells
    restored = [unescape_formula(text) for text in cells.filter(marked).to_pylist()]
    return pc.replace_with_mask(cells, marked, to_cells(restored))


def quote_cells(cells: Any, separator: str) -> Any:
    """Put those cells in quotes that hold the separator, a quote or a line break (RFC 4180, section 2)."""
    import pyarrow.compute as pc

    needy = pc.match_substring_regex(cells, f'["\r\n{re.escape(separator)}]')
    if not pc.any(needy).as_py():
        return cells
    quoted = pc.binary_join_element_wise('"', pc.replace_substring(cells, '"', '""'), '"', "")
    return pc.if_else(needy, quoted, cells)


def quote_text(text: str, separator: str) -> str:
    """Return one cell, in quotes where it needs them."""
    needs = any(mark in text for mark in ('"', "\r", "\n", separator))
    return '"' + text.replace('"', '""') + '"' if needs else text


def to_instants(times: Any) -> TimeColumn:
    """Return an Arrow column of timestamps in milliseconds as numpy's; null becomes NaT."""
    values = to_numbers_or_zero(times.view("int64")).view("datetime64[ms]")
    return np.where(find_valid(times), values, np.datetime64("NaT", "ms")) if times.null_count else values


# Arrow's own ways between its arrays and Python's import pandas where it is installed, which takes longer than
# reading most files. So columns go in and out by their buffers.


def to_cells(texts: Sequence[str]) -> Any:
    """Return texts as an Arrow column."""
    import pyarrow as pa

    joined = "".join(texts)
    data = joined.encode("utf-8")
    # Where every character is one byte, the texts need no encoding one by one.
    lengths = map(len, texts) if joined.isascii() else (len(text.encode("utf-8")) for text in texts)
    offsets = np.zeros(len(texts) + 1, dtype=np.int32)
    np.cumsum(np.fromiter(lengths, dtype=np.int32, count=len(texts)), out=offsets[1:])
    return pa.StringArray.from_buffers(len(texts), pa.py_buffer(offsets.tobytes()), pa.py_buffer(data))


def to_mask(rows: NDArray[np.bool_]) -> Any:
    """Return a numpy mask as an Arrow one."""
    import pyarrow as pa

    bits = np.packbits(rows, bitorder="little").tobytes()
    return pa.Array.from_buffers(pa.bool_(), len(rows), [None, pa.py_buffer(bits)])


def find_empty(cells: Any) -> NDArray[np.bool_]:
    """Return which cells of an Arrow column of text are empty."""
    if not len(cells):
        return np.empty(0, dtype=bool)
    bounds = np.frombuffer(cells.buffers()[1], np.int32, len(cells) + 1, cells.offset * 4)
    return np.asarray(bounds[1:] == bounds[:-1])


def empty_to_null(cells: Any) -> Any:
    """Return a column of cells with null for the empty text."""
    import pyarrow as pa
    import pyarrow.compute as pc

    is_empty = find_empty(cells)
    return pc.if_else(to_mask(is_empty), pa.nulls(len(cells), pa.string()), cells) if is_empty.any() else cells
