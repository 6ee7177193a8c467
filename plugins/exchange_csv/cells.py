"""Cells of text: formulas made harmless and restored, Arrow's texts as Python's."""

from __future__ import annotations

import itertools
import re
from typing import Any

import numpy as np

from exchange.model.columns import NumberColumn, TextColumn, TimeColumn

# A spreadsheet runs a cell that begins with one of these (OWASP ASVS 5.0, 1.2.10, and its page on CSV injection;
# the full-width forms count where the keyboard makes them).
_STARTS = r"=+\-@\t\r\n\x00\uff1d\uff0b\uff0d\uff20"
_RISKY = re.compile(f"'*[{_STARTS}]")
_ESCAPED = re.compile(f"'+[{_STARTS}]")
_RISKY_FIRST = r"^'*[=+\-@\t\r\n\x00\x{ff1d}\x{ff0b}\x{ff0d}\x{ff20}]"
_PLAIN_NUMBER = re.compile(r"[+-]?[0-9]+(?:[.,][0-9]+)?(?:[eE][+-]?[0-9]+)?")


def escape_formula(text: str) -> str:
    """Return a cell's text so that no spreadsheet takes it for a formula; a plain number stays as it is.

    >>> escape_formula("=1+1"), escape_formula("-120.5"), escape_formula("'=1"), escape_formula("it's")
    ("'=1+1", '-120.5', "''=1", "it's")
    """
    return "'" + text if _RISKY.match(text) and not _PLAIN_NUMBER.fullmatch(text) else text


def unescape_formula(text: str) -> str:
    """Return the text that ``escape_formula`` was given."""
    return text[1:] if _ESCAPED.match(text) else text


def escape_cells(cells: Any) -> Any:
    """Escape the formulas of an Arrow column of text; see ``escape_formula``."""
    import pyarrow as pa
    import pyarrow.compute as pc

    risky = pc.fill_null(pc.match_substring_regex(cells, _RISKY_FIRST), False)
    if not pc.any(risky).as_py():
        return cells
    escaped = [escape_formula(text) for text in cells.filter(risky).to_pylist()]
    return pc.replace_with_mask(cells, risky, pa.array(escaped, pa.string()))


def unescape_cells(cells: Any) -> Any:
    """Restore an Arrow column of text that ``escape_cells`` escaped."""
    import pyarrow as pa
    import pyarrow.compute as pc

    marked = pc.fill_null(pc.starts_with(cells, "'"), False)
    if not pc.any(marked).as_py():
        return cells
    restored = [unescape_formula(text) for text in cells.filter(marked).to_pylist()]
    return pc.replace_with_mask(cells, marked, pa.array(restored, pa.string()))


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


def to_objects(cells: Any) -> TextColumn:
    """Return an Arrow column of text as an object array of ``str``; null becomes the empty text.

    Arrow's own way goes through pandas, whose import takes longer than reading most files.
    """
    import pyarrow.compute as pc

    if not len(cells):
        return np.empty(0, dtype=object)
    if _repeats_much(cells):
        encoded = pc.dictionary_encode(pc.fill_null(cells, ""))
        words = np.fromiter(encoded.dictionary.to_pylist(), dtype=object, count=len(encoded.dictionary))
        codes = np.frombuffer(encoded.indices.buffers()[1], np.int32, len(cells), encoded.indices.offset * 4)
        return np.asarray(words[codes], dtype=object)
    return _cut_texts(cells)


def _repeats_much(cells: Any) -> bool:
    sample = cells.slice(0, 1024)
    return len(sample.unique()) * 4 <= len(sample)


def _cut_texts(cells: Any) -> TextColumn:
    _, offsets, data = cells.buffers()
    bounds = np.frombuffer(offsets, np.int32, len(cells) + 1, cells.offset * 4)
    raw = bytes(memoryview(data)[bounds[0] : bounds[-1]]) if data is not None else b""
    ends = (bounds - bounds[0]).tolist()
    if raw.isascii():
        text = raw.decode("ascii")
        items = [text[a:b] for a, b in itertools.pairwise(ends)]
    else:
        items = [raw[a:b].decode() for a, b in itertools.pairwise(ends)]
    return np.fromiter(items, dtype=object, count=len(items))


def to_floats(numbers: Any) -> NumberColumn:
    """Return an Arrow column of float64 as numpy's; null becomes NaN."""
    import pyarrow.compute as pc

    filled = pc.fill_null(numbers, float("nan")) if numbers.null_count else numbers
    return (
        np.frombuffer(filled.buffers()[1], np.float64, len(filled), filled.offset * 8) if len(filled) else np.empty(0)
    )


def to_instants(times: Any) -> TimeColumn:
    """Return an Arrow column of timestamps in milliseconds as numpy's; null becomes NaT."""
    import pyarrow as pa
    import pyarrow.compute as pc

    counts = times.cast(pa.int64())
    filled = pc.fill_null(counts, np.iinfo(np.int64).min) if counts.null_count else counts
    if not len(filled):
        return np.empty(0, "datetime64[ms]")
    return np.frombuffer(filled.buffers()[1], np.int64, len(filled), filled.offset * 8).view("datetime64[ms]")


def empty_to_null(cells: Any) -> Any:
    """Return a column of cells with null for the empty text."""
    import pyarrow as pa
    import pyarrow.compute as pc

    is_empty = pc.equal(pc.binary_length(cells), 0)
    return pc.if_else(is_empty, pa.scalar(None, pa.string()), cells) if pc.any(is_empty).as_py() else cells
