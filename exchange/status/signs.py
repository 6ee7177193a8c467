"""What the fields of returned rows say of the status, as sets of status words: one bit a word, one number a row."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from exchange.formats.columns.words import fold, fold_key
from exchange.formats.values import to_texts
from exchange.model.columns import ForeignColumn, TextColumn
from exchange.model.priority import STATUS_ORDER
from exchange.model.status import HOT, NO_HEAT, OUT, RECHECK, STATUS_WORDS, WORKING
from exchange.status.colors import find_nearest
from exchange.status.options import PlaceOptions
from exchange.status.phrases import Meaning, PhraseReader
from exchange.status.words.load import NOTHING, StatusWords

Bits = NDArray[np.uint8]

BIT = {word: 1 << place for place, word in enumerate(STATUS_WORDS)}
HEAT = BIT[HOT] | BIT[WORKING] | BIT[RECHECK]
"""Words that a spot still wants work."""

COLD = BIT[NO_HEAT] | BIT[OUT]
"""Words that it does not."""

PICTURES = ("symbol", "colour")
"""Names of the signs that are no words: a device may put them on its marks by itself."""


class Read(NamedTuple):
    """Hold what one text says: status bits it says, bits it only may mean, and whether it is known at all."""

    says: int
    may_mean: int = 0
    is_known: bool = True


_WORD = re.compile(r"[^\W\d_]{2}|[^\x00-\u02ff]")

UNKNOWN_TEXT = Read(0, 0, is_known=False)


@dataclass
class Sign:
    """Hold what one field of all rows says.

    Attributes
    ----------
    name
        What the field is, for a person: ``symbol``, ``folder``, ``colour``, ``comment``, ``name``, ``column Hot``.
    texts
        What stands in it, shape (n,).
    says, may_mean
        Status bits, shape (n,).
    is_unknown
        Which rows hold something whose meaning nothing tells.
    """

    name: str
    texts: TextColumn
    says: Bits
    may_mean: Bits
    is_unknown: NDArray[np.bool_]

    def silence(self, rows: NDArray[np.bool_]) -> None:
        """Let the sign say nothing in some rows."""
        for column in (self.says, self.may_mean, self.is_unknown):
            column[rows] = 0


@dataclass(frozen=True)
class SignReader:
    """Read fields by the tables of one run; each distinct text is looked at once."""

    words: StatusWords
    options: PlaceOptions

    @cached_property
    def _phrases(self) -> PhraseReader:
        return PhraseReader(self.words.text)

    @cached_property
    def _symbol_colors(self) -> PhraseReader:
        return PhraseReader(self.words.symbol_color)

    @cached_property
    def _symbol_shapes(self) -> PhraseReader:
        return PhraseReader(self.words.symbol_shape)

    def read_texts(self, name: str, texts: TextColumn) -> Sign:
        """Read what a person wrote; digits and single letters (``79 °C``) are no words."""
        return read_each(name, texts, self._read_text)

    def read_folders(self, texts: TextColumn) -> Sign:
        """Read folder paths: of several folders the innermost that says something counts."""
        return read_each("folder", texts, self._read_folder)

    def read_colors(self, texts: TextColumn) -> Sign:
        """Read colours as digits or as words."""
        return read_each("colour", texts, self._read_color)

    def read_symbol_colors(self, texts: TextColumn) -> Sign:
        """Read symbols by the colours and status words in their names; a bare shape is known and says nothing here."""
        return read_each("symbol", texts, self._read_symbol)

    def read_symbol_shapes(self, texts: TextColumn) -> Sign:
        """Read symbols by the shapes in their names."""
        return read_each("symbol", texts, lambda text: Read(find_words(self._symbol_shapes, text).says))

    def read_ticks(self, header: str, column: ForeignColumn) -> Sign | None:
        """Read a column whose header is a status word, ticked by row; ``None`` where it is no such column."""
        meaning = self.words.text.get(" ".join(fold(header).replace("_", " ").split()), "")
        if meaning not in STATUS_WORDS or _is_measured(column):
            return None
        return read_each(f"column {header}", to_texts(column), lambda text: self._read_tick(text, meaning))

    def kind_of_field(self, name: str) -> str:
        """Return what a foreign field holds, or the empty text."""
        return self.words.field.get(fold_key(name), "")

    def _read_text(self, text: str) -> Read:
        return to_read(self._phrases.read(text)) if _WORD.search(text) else Read(0)

    def _read_tick(self, text: str, meaning: str) -> Read:
        state = self.words.tick.get(fold(text).strip(), "")
        return Read(BIT[meaning]) if state == "yes" else Read(0, 0, is_known=state == "no")

    def _read_folder(self, path: str) -> Read:
        reads = [to_read(self._phrases.read(part)) for part in path.split("/") if part.strip()]
        inner = next((read for read in reversed(reads) if read.says), None)
        return inner or Read(0, 0, is_known=any(read.is_known for read in reads))

    def _read_color(self, text: str) -> Read:
        limit, margin = self.options.color_limit, self.options.color_margin
        meaning = find_nearest(text, self.words.color, limit=limit, margin=margin)
        if meaning is None:
            return find_words(self._symbol_colors, text) if not text.startswith("#") else UNKNOWN_TEXT
        return Read(0 if meaning == NOTHING else BIT[meaning])

    def _read_symbol(self, text: str) -> Read:
        color, shape = (find_words(reader, text) for reader in (self._symbol_colors, self._symbol_shapes))
        plain = to_read(self._phrases.read(text))
        says = color.says or plain.says
        return Read(says, plain.may_mean, is_known=bool(says) or color.is_known or shape.is_known)


def read_each(name: str, texts: TextColumn, read: Callable[[str], Read]) -> Sign:
    """Read a column of texts, each distinct one once; an empty text says nothing and is known."""
    items = texts.tolist()
    known = {text: read(text) if text.strip() else Read(0) for text in set(items)}
    rows = [known[text] for text in items]
    return Sign(
        name,
        texts,
        np.array([row.says for row in rows], np.uint8),
        np.array([row.may_mean for row in rows], np.uint8),
        np.array([not row.is_known for row in rows], np.bool_),
    )


def find_words(reader: PhraseReader, text: str) -> Read:
    """Return what the known words of a symbol's name say, whatever else stands there; none is unknown."""
    meaning = reader.read(text)
    says = to_bits(meaning.says | meaning.may_mean)
    return Read(says, 0, is_known=bool(says) or meaning.has_known)


def to_read(meaning: Meaning) -> Read:
    """Return what a text says as bits; it is known where any of its clauses is, or says something."""
    says, may_mean = to_bits(meaning.says), to_bits(meaning.may_mean)
    return Read(says, may_mean, is_known=bool(says) or (meaning.is_known and not may_mean))


def to_bits(words: Iterable[str]) -> int:
    """Return status words as bits."""
    return sum(BIT[word] for word in set(words))


def to_words(bits: int) -> list[str]:
    """Return the status words of bits, the most cautious first."""
    return [word for word in STATUS_ORDER if bits & BIT[word]]


def most_cautious(bits: Bits) -> TextColumn:
    """Return the most cautious word of each row's bits, the empty text where there is none."""
    table = np.array([next(iter(to_words(value)), "") for value in range(1 << len(STATUS_WORDS))], dtype=object)
    return table[bits]


def _is_measured(column: ForeignColumn) -> bool:
    """Tell whether a column holds numbers other than 0 and 1: a measure is no tick."""
    if column.dtype.kind not in "fiM":
        return False
    return column.dtype.kind == "M" or not np.isin(column[~np.isnan(column)], (0, 1)).all()
