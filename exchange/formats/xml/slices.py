"""Many stretches of one block of bytes at once: which are the same, and their texts as columns."""

from __future__ import annotations

import re
import secrets
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from exchange.formats.text_columns import TextCells, to_arrow_numbers, to_cells

Offsets = NDArray[np.int64]
WORD = 8
MOST_WORDS = 64
# One odd number for each word of a stretch: the sum of products tells stretches apart (and is checked below).
_FACTORS = np.frombuffer(secrets.token_bytes(WORD * MOST_WORDS), np.uint64) | np.uint64(1)
_SHIFT = np.array([0, *range(56, -1, -8)], dtype=np.uint64)

# XML 1.0, section 4.6, and character references (4.1).
_REFERENCE = re.compile(r"&(?:#(\d{1,7})|#x([0-9A-Fa-f]{1,6})|(amp|lt|gt|quot|apos));|&")
_NAMED = {"amp": "&", "lt": "<", "gt": ">", "quot": '"', "apos": "'"}
_CHARACTER = re.compile("[\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


@dataclass(frozen=True)
class Block:
    """Bytes to be cut up, readable eight at a time from any offset.

    Attributes
    ----------
    data
        The bytes as they are.
    octets
        The same as numbers, shape (len(data),).
    words
        The eight bytes that begin at each offset as one little-endian number, shape (len(data),).
    """

    data: bytes
    octets: NDArray[np.uint8]
    words: NDArray[np.uint64]

    @classmethod
    def of(cls, data: bytes) -> Block:
        """Return the block of ``data``."""
        padded = np.frombuffer(data + bytes(WORD * 2), np.uint8)
        words = np.ndarray((len(data),), dtype="<u8", buffer=padded, strides=(1,))
        return cls(data, padded[: len(data)], words)


@dataclass(frozen=True)
class Coded:
    """Which stretches hold the same bytes: a ``code`` for each, and the row of the ``first`` with each code."""

    code: NDArray[np.int32]
    first: NDArray[np.int64]


def code_slices(block: Block, starts: Offsets, stops: Offsets) -> Coded | None:
    """Give the same code to stretches of the same bytes, and to no others; ``None`` when one is too long for that.

    The block holds no NUL byte.
    """
    lengths = stops - starts
    if not len(starts):
        return Coded(np.empty(0, np.int32), np.empty(0, np.int64))
    longest = int(lengths.max())
    if longest > WORD * MOST_WORDS:
        return None
    key = _masked(block.words[np.minimum(starts, len(block.words) - 1)], lengths) * _FACTORS[0]
    later = []
    for level in range(1, -(-longest // WORD)):
        rows = np.flatnonzero(lengths > level * WORD)
        words = _masked(block.words[starts[rows] + level * WORD], lengths[rows] - level * WORD)
        key[rows] += words * _FACTORS[level]
        later.append((rows, words))
    coded = factorise(key)
    return coded if _is_exact(coded, lengths, later) else None


def code_repeating(block: Block, starts: Offsets, stops: Offsets, each: int) -> Coded | None:
    """Give codes to stretches of which every ``each`` are the same as the first so many; ``None`` when they are not."""
    if not each or len(starts) % each or not len(starts):
        return None
    begins, lengths = starts.reshape(-1, each), (stops - starts).reshape(-1, each)
    if int(lengths[0].max()) > WORD * MOST_WORDS or (lengths != lengths[0]).any():
        return None
    for level in range(-(-int(lengths[0].max()) // WORD)):
        columns = np.flatnonzero(lengths[0] > level * WORD)
        at = begins if len(columns) == each else begins[:, columns]
        words = block.words[at + level * WORD if level else at]
        unlike = (words ^ words[0]) << _SHIFT[np.minimum(lengths[0][columns] - level * WORD, WORD)]
        if unlike.any():
            return None
    code = np.tile(np.arange(each, dtype=np.int32), len(begins))
    return Coded(code, np.arange(each))


def _masked(words: NDArray[np.uint64], lengths: Offsets) -> NDArray[np.uint64]:
    """Return the words with the bytes beyond each length shifted out."""
    if int(lengths.min()) >= WORD:
        return words
    shifted: NDArray[np.uint64] = words << _SHIFT[np.minimum(lengths, WORD)]
    return np.where(lengths > 0, shifted, np.uint64(0))


def _is_exact(coded: Coded, lengths: Offsets, later: list[tuple[Offsets, NDArray[np.uint64]]]) -> bool:
    # A product with an odd number is one to one, so the first word is right when the others are.
    if not np.array_equal(lengths[coded.first][coded.code], lengths):
        return False
    for rows, words in later:
        of_code = np.zeros(len(coded.first), dtype=np.uint64)
        codes = coded.code[rows]
        of_code[codes] = words
        if not np.array_equal(of_code[codes], words):
            return False
    return True


def factorise(key: NDArray[np.uint64]) -> Coded:
    """Give the same code to the same numbers, in the order of their first appearance."""
    if len(key) and (key == key[0]).all():
        return Coded(np.zeros(len(key), dtype=np.int32), np.zeros(1, dtype=np.int64))
    indices = to_arrow_numbers(key).dictionary_encode().indices
    code = np.frombuffer(indices.buffers()[1], np.int32, len(indices))
    first = np.empty(int(code.max()) + 1 if len(code) else 0, dtype=np.int64)
    first[code[::-1]] = np.arange(len(code) - 1, -1, -1)
    return Coded(code, first)


def cut_texts(block: Block, starts: Offsets, stops: Offsets, present: NDArray[np.bool_] | None = None) -> TextCells:
    """Return the stretches as texts, null where not ``present``; as they stand, references not yet resolved.

    ``starts`` and ``stops`` rise; of a stretch that is not present only that it is empty and in order counts.
    """
    import pyarrow as pa

    bounds = np.empty(2 * len(starts), dtype=np.int32)
    bounds[0::2], bounds[1::2] = starts, stops
    # The stretches and the gaps between them as one array over the block's own bytes; then every second cell.
    every = pa.StringArray.from_buffers(max(len(bounds) - 1, 0), pa.py_buffer(bounds), pa.py_buffer(block.data))
    cells = every.take(to_arrow_numbers(np.arange(0, len(bounds), 2, dtype=np.int32)))
    if present is None or present.all():
        return cells
    mask = pa.py_buffer(np.packbits(present, bitorder="little").tobytes())
    return pa.StringArray.from_buffers(len(cells), *[cells.buffers()[1], cells.buffers()[2]], mask)


def resolve_references(cells: TextCells) -> TextCells | None:
    """Return texts with ``&amp;``, ``&#233;`` and the like resolved; ``None`` when one is no reference of XML."""
    import pyarrow.compute as pc

    found = np.array([bool(has_mark) for has_mark in pc.match_substring(cells, "&").to_pylist()], dtype=bool)
    if not found.any():
        return cells
    rows = np.flatnonzero(found)
    try:
        resolved = [_REFERENCE.sub(_resolve, text) for text in cells.take(to_arrow_numbers(rows)).to_pylist()]
    except ValueError:
        return None
    return pc.replace_with_mask(cells, _to_arrow_mask(found), to_cells(resolved))


def _to_arrow_mask(rows: NDArray[np.bool_]) -> Any:
    import pyarrow as pa

    return pa.Array.from_buffers(
        pa.bool_(), len(rows), [None, pa.py_buffer(np.packbits(rows, bitorder="little").tobytes())]
    )


def _resolve(match: re.Match[str]) -> str:
    decimal, hexadecimal, name = match.groups()
    if name:
        return _NAMED[name]
    code = int(decimal) if decimal else int(hexadecimal, 16) if hexadecimal else -1
    character: Any = chr(code) if 0 <= code <= 0x10FFFF else ""
    if not _CHARACTER.fullmatch(character):
        raise ValueError(match[0])
    return str(character)
