"""Tell the markers that are hotspots from those that are places."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from exchange.formats.columns.words import fold, marker_words
from exchange.model.columns import ForeignColumn, has_value

HOTSPOT, PLACE, UNTOLD = 1, -1, 0
_MEASURED = ("temperature", "status", "confidence", "area", "sightings", "first_seen", "last_seen")
_WORD = re.compile(r"[^\W\d_]+(?:'[^\W\d_]+)?")
_FEW = 1000
_DIGITS = str.maketrans("", "", "0123456789")


def tell_markers(
    values: Mapping[str, ForeignColumn], *, length: int, words: ForeignColumn | None = None
) -> NDArray[np.int8]:
    """Return for each row whether it is a hotspot (1), a place (-1) or untold (0).

    The folder or symbol says it first, then the type, then what was measured there, then the name.

    Parameters
    ----------
    values
        The model columns that were read, each of shape (n,).
    length
        Number of rows.
    words
        Folder path, symbol or style of each row, as text.
    """
    told = np.zeros(length, dtype=np.int8)
    for column in (words, values.get("kind"), values.get("symbol")):
        _fill(told, column)
    for name in _MEASURED:
        if name in values:
            told[(told == UNTOLD) & _is_given(values[name])] = HOTSPOT
    _fill(told, values.get("name"))
    return told


def _is_given(column: ForeignColumn) -> NDArray[np.bool_]:
    return np.asarray(column != "", dtype=bool) if column.dtype.kind == "O" else has_value(column)


def _fill(told: NDArray[np.int8], column: ForeignColumn | None) -> None:
    """Tell the rows that are still untold by the words of a column."""
    rows = np.flatnonzero(told == UNTOLD)
    if column is None or not len(rows):
        return
    texts = column[rows].tolist()
    distinct = set(texts)
    if len(distinct) > _FEW:
        # Numbered names (Spot 1, Spot 2 ...) are one text without their digits: each text is looked at once.
        texts = _without_digits(texts)
        distinct = set(texts)
    known = {text: tell_by_words(text) for text in distinct}
    if any(known.values()):
        told[rows] = np.fromiter(map(known.__getitem__, texts), dtype=np.int8, count=len(texts))


def _without_digits(texts: Sequence[str]) -> list[str]:
    joined = "\x00".join(texts)
    if joined.count("\x00") != len(texts) - 1:
        return list(texts)
    stripped = (
        joined.translate(_DIGITS) if not joined.isascii() else joined.encode().translate(None, b"0123456789").decode()
    )
    return stripped.split("\x00")


@lru_cache(maxsize=65_536)
def tell_by_words(text: str) -> int:
    """Return what the words of a text say: hotspot (1), place (-1), or nothing or both (0).

    >>> tell_by_words("Division A/Hot spots"), tell_by_words("DP-3 drop point"), tell_by_words("Marker")
    (1, -1, 0)
    """
    tokens = _WORD.findall(fold(text))
    found = {kind: _has_phrase(tokens, fold(text), phrases) for kind, phrases in marker_words().items()}
    return UNTOLD if found["hotspot"] == found["place"] else HOTSPOT if found["hotspot"] else PLACE


def _has_phrase(tokens: list[str], folded: str, phrases: frozenset[str]) -> bool:
    runs = {" ".join(tokens[i : i + n]) for n in (1, 2, 3) for i in range(len(tokens) - n + 1)}
    if not runs.isdisjoint(phrases):
        return True
    # Languages written without blanks: the phrase stands inside a longer run of letters.
    return not folded.isascii() and any(phrase in folded for phrase in phrases if not _is_spaced_script(phrase))


@lru_cache(maxsize=1024)
def _is_spaced_script(phrase: str) -> bool:
    return all(ord(character) < 0x3000 for character in phrase)
