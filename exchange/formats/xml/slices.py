"""Many stretches of one block of bytes at once: whether they are the same, and their texts as columns."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from exchange.formats.text_columns import TextCells, to_arrow_flags, to_arrow_numbers, to_cells

Offsets = NDArray[np.int64]
WORD = 8

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
        The eight bytes that begin at each offset as one little-endian number; beyond the data they are zero.
    has_references
        Whether an ``&`` is in it.
    """

    data: bytes
    octets: NDArray[np.uint8]
    words: NDArray[np.uint64]
    has_references: bool

    @classmethod
    def of(cls, data: bytes) -> Block:
        """Return the block of ``data``."""
        padded = np.frombuffer(data + bytes(WORD * 2), np.uint8)
        words = np.ndarray((len(data) + WORD,), dtype="<u8", buffer=padded, strides=(1,))
        return cls(data, padded[: len(data)], words, b"&" in data)

    def has_at(self, at: Offsets, text: bytes) -> NDArray[np.bool_]:
        """Tell at which of the offsets the bytes of ``text`` stand."""
        most = len(self.data) - len(text)
        is_like = at <= most
        if not is_like.all():
            at = np.clip(at, 0, max(most, 0))
        for level in range(0, len(text) if most >= 0 else 0, WORD):
            found = self.words[at + level if level else at]
            is_like &= _is_word(found, text[level : level + WORD])
        return is_like

    def find_among(self, at: Offsets, words: NDArray[np.uint64], text: bytes) -> Offsets:
        """Return the rows of the offsets at which ``text`` stands; ``words`` are those at the offsets."""
        rows = np.flatnonzero(_is_word(words, text[:WORD]))
        return rows[self.has_at(at[rows], text)] if len(text) > WORD else rows


def _is_word(words: NDArray[np.uint64], text: bytes) -> NDArray[np.bool_]:
    """Tell which words begin with up to eight bytes."""
    wanted = np.uint64(int.from_bytes(text, "little"))
    if len(text) < WORD:
        words = words & np.uint64((1 << 8 * len(text)) - 1)
    return np.asarray(words == wanted)


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
    return pc.replace_with_mask(cells, to_arrow_flags(found), to_cells(resolved))


def _resolve(match: re.Match[str]) -> str:
    decimal, hexadecimal, name = match.groups()
    if name:
        return _NAMED[name]
    code = int(decimal) if decimal else int(hexadecimal, 16) if hexadecimal else -1
    character: Any = chr(code) if 0 <= code <= 0x10FFFF else ""
    if not _CHARACTER.fullmatch(character):
        raise ValueError(match[0])
    return str(character)
