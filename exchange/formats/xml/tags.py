"""The tags of a block of XML content: where they stand, which are the same, and their attribute values."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from exchange.formats.xml.slices import Block, Offsets, code_repeating, code_slices, factorise

MOST_TAGS = 4096

VALUE = b"\0"
"""Stands for a value in the bytes of a variable tag; no file holds it, since NUL is no character of XML."""


@dataclass(frozen=True)
class Tags:
    """All tags of a block: offsets of ``<`` and ``>``, a code for each distinct one, and its bytes between them."""

    start: Offsets
    stop: Offsets
    code: NDArray[np.int32]
    distinct: list[bytes]
    values: list[Values]


@dataclass(frozen=True)
class Values:
    """The attribute values of the variable tags of one name: the tags' rows, and the offsets of each value in turn."""

    rows: Offsets
    spans: list[tuple[Offsets, Offsets]]


def find_tags(block: Block, variable: Collection[bytes]) -> Tags | None:
    """Return the tags of a block, or ``None`` when it is not made of plain tags and texts only.

    Parameters
    ----------
    block
        UTF-8, without characters that XML forbids.
    variable
        Names of the elements in whose tags the attribute values do not count as part of the tag.
    """
    start = np.flatnonzero(block.octets == ord("<"))
    stop = np.flatnonzero(block.octets == ord(">"))
    if not len(start):
        return None
    if len(start) != len(stop) or not (start < stop).all():
        # A bare '>' in a text is lawful, after ']]' it is not.
        following = np.searchsorted(stop, start)
        if b"]]>" in block.data or following[-1] == len(stop):
            return None
        stop = stop[following]
    after = block.octets[start + 1]
    if not (stop[:-1] < start[1:]).all() or ((after == ord("!")) | (after == ord("?"))).any():
        return None
    return _code_tags(block, variable, start, stop)


def _code_tags(block: Block, variable: Collection[bytes], start: Offsets, stop: Offsets) -> Tags | None:
    code = np.zeros(len(start), dtype=np.int32)
    plain = np.ones(len(start), dtype=bool)
    quotes = np.flatnonzero(block.octets == ord('"'))
    distinct: list[bytes] = []
    values: list[Values] = []
    first_words = block.words[start + 1] if len(start) else np.empty(0, np.uint64)
    for name in variable:
        rows = _rows_named(block, first_words, start, name + b" ")
        if not len(rows):
            continue
        found = _code_variable_tags(block, start[rows], stop[rows], quotes)
        if found is None:
            return None
        codes, texts, spans = found
        code[rows] = codes + len(distinct)
        distinct += texts
        values.append(Values(rows, spans))
        plain[rows] = False
    rows = np.flatnonzero(plain)
    each = len(rows) // len(values[0].rows) if values else 0
    begins, ends = start[rows] + 1, stop[rows]
    coded = code_repeating(block, begins, ends, each) or code_slices(block, begins, ends)
    if coded is None or len(coded.first) > MOST_TAGS:
        return None
    code[rows] = coded.code + len(distinct)
    distinct += [block.data[start[row] + 1 : stop[row]] for row in rows[coded.first].tolist()]
    return Tags(start, stop, code, distinct, values)


def is_start(tag: bytes) -> bool:
    """Tell whether a tag opens an element that is not empty."""
    return tag[:1] != b"/" and not tag.endswith(b"/")


def is_end(tag: bytes) -> bool:
    """Tell whether a tag closes an element."""
    return tag[:1] == b"/"


def _rows_named(block: Block, first_words: NDArray[np.uint64], start: Offsets, head: bytes) -> Offsets:
    """Return the tags that begin with ``head``."""
    word, mask = _as_word(head[:8])
    rows = np.flatnonzero((first_words & mask) == word)
    for level in range(8, len(head), 8):
        word, mask = _as_word(head[level : level + 8])
        offsets = np.minimum(start[rows] + 1 + level, len(block.words) - 1)
        rows = rows[(block.words[offsets] & mask) == word]
    return rows


def _as_word(text: bytes) -> tuple[np.uint64, np.uint64]:
    mask = b"\xff" * len(text)
    return np.uint64(int.from_bytes(text, "little")), np.uint64(int.from_bytes(mask, "little"))


def _code_variable_tags(
    block: Block, start: Offsets, stop: Offsets, quotes: Offsets
) -> tuple[NDArray[np.int32], list[bytes], list[tuple[Offsets, Offsets]]] | None:
    """Code tags by what stands outside their quoted values; return codes, distinct tags and the values' offsets."""
    inside = _quotes_inside(start, stop, quotes)
    if inside is None:
        return None
    bounds = [start + 1, *(np.ascontiguousarray(quote) for quote in inside.T), stop]
    spans = [(bounds[k] + 1, bounds[k + 1]) for k in range(1, len(bounds) - 1, 2)]
    literals = list(zip([bounds[0], *(stop for _, stop in spans)], [*(start for start, _ in spans), stop], strict=True))
    key = np.zeros(len(start), dtype=np.uint64)
    for literal in literals:
        piece = code_slices(block, *literal)
        if piece is None:
            return None
        key = key * np.uint64(len(piece.first)) + piece.code.astype(np.uint64)
    coded = factorise(key)
    if len(coded.first) > MOST_TAGS:
        return None
    texts = [
        VALUE.join(block.data[int(first[row]) : int(last[row])] for first, last in literals)
        for row in coded.first.tolist()
    ]
    return coded.code, texts, spans


def _quotes_inside(start: Offsets, stop: Offsets, quotes: Offsets) -> Offsets | None:
    """Return the offsets of the quotes in each tag, shape (tags, quotes), where all have the same even number."""
    each, rest = divmod(len(quotes), len(start))
    if not rest and each and not each % 2:
        inside = quotes.reshape(-1, each)
        if (inside[:, 0] > start).all() and (inside[:, -1] < stop).all():
            return inside
    first = np.searchsorted(quotes, start)
    counts = np.searchsorted(quotes, stop) - first
    each = int(counts[0])
    if not each or each % 2 or (counts != each).any():
        return None
    return np.asarray(quotes[first[:, None] + np.arange(each)])
