"""Read the tables that say which word, symbol or colour means which status.

A table stands under its subject and its meaning: ``[text.out]``, ``[color.hot]``. What it holds is a list, or lists by
language (``en = [...]``); the names of the languages are for the reader of the file and do not count.
"""

from __future__ import annotations

import os
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, fields, replace
from dataclasses import field as dataclass_field
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Any, Self

from exchange.errors import OptionError
from exchange.formats.columns.words import fold, fold_key
from exchange.model.status import STATUS_WORDS
from exchange.status.colors import parse_hex

NOTHING = "nothing"
"""Meaning of what is known to say nothing of the status."""

NOT_BEFORE, NOT_AROUND, BESIDE = "not", "not around", "beside"
"""Meanings of a negation before its word, of one before or after it, and of what may stand beside ``out``."""

SYMBOL, COLOR, COMMENT, FOLDER, STATUS = "symbol", "color", "comment", "folder", "status"
"""What a foreign field holds."""

SHIPPED = ("colors.toml", "fields.toml", "negations.toml", "symbols.toml", "text.toml")

_MEANINGS: Mapping[str, tuple[str, ...]] = {
    "text": (*STATUS_WORDS, NOTHING, NOT_BEFORE, NOT_AROUND, BESIDE),
    "symbol_color": (*STATUS_WORDS, NOTHING),
    "symbol_shape": (*STATUS_WORDS, NOTHING),
    "color": (*STATUS_WORDS, NOTHING),
    "tick": ("yes", "no"),
    "field": (SYMBOL, COLOR, COMMENT, FOLDER, STATUS),
}


@dataclass(frozen=True, kw_only=True)
class StatusWords:
    """Hold what means which status, each a mapping from what is written to its meaning.

    Attributes
    ----------
    text
        Folded phrases of names, comments, folders and headers: a status word, ``NOTHING``, or what negates.
    symbol_color, symbol_shape
        Folded words in the name of a symbol; the colour is asked first.
    color
        Colours as ``#rrggbb``.
    tick
        What a ticked (``yes``) and an unticked (``no``) cell holds, folded.
    field
        What a foreign field of that folded name holds: ``SYMBOL``, ``COLOR``, ``COMMENT``, ``FOLDER`` or ``STATUS``.
    """

    text: Mapping[str, str] = dataclass_field(default_factory=dict)
    symbol_color: Mapping[str, str] = dataclass_field(default_factory=dict)
    symbol_shape: Mapping[str, str] = dataclass_field(default_factory=dict)
    color: Mapping[str, str] = dataclass_field(default_factory=dict)
    tick: Mapping[str, str] = dataclass_field(default_factory=dict)
    field: Mapping[str, str] = dataclass_field(default_factory=dict)

    @classmethod
    def shipped(cls) -> StatusWords:
        """Return the tables that come with the program."""
        return _read_shipped()

    @classmethod
    def from_toml(cls, text: str, *, path: str = "") -> Self:
        """Return the tables of one TOML document.

        Raises
        ------
        OptionError
            When it is no TOML, names a table, meaning or colour that does not exist, or gives one word two meanings.
        """
        try:
            document = tomllib.loads(text)
        except tomllib.TOMLDecodeError as error:
            raise OptionError(f"is no TOML: {error}", path=path) from error
        tables: dict[str, dict[str, str]] = {subject: {} for subject in _MEANINGS}
        for subject, meaning, word in _walk(document, path):
            key = _fold_word(subject, word, path)
            known = tables[subject].setdefault(key, meaning)
            if known != meaning:
                raise OptionError(
                    f"{word!r} means {known!r} and {meaning!r}", path=path, field=subject, remedy="Leave one of them."
                )
        return cls(**tables)

    def with_file(self, path: str | os.PathLike[str]) -> Self:
        """Return these tables with those of the user's own file laid over them; the user's own meaning counts.

        Raises
        ------
        OptionError
            When the file cannot be read or is not such a table.
        """
        try:
            text = Path(path).read_text(encoding="utf-8-sig")
        except OSError as error:
            raise OptionError(f"cannot be read: {error.strerror}", path=path, field="--words") from error
        except UnicodeDecodeError as error:
            raise OptionError("is not in UTF-8", path=path, field="--words") from error
        return self.overlaid_with(type(self).from_toml(text, path=os.fspath(path)))

    def overlaid_with(self, other: StatusWords) -> Self:
        """Return both tables in one; where they differ the other's meaning counts."""
        return replace(self, **{f.name: {**getattr(self, f.name), **getattr(other, f.name)} for f in fields(self)})


@cache
def _read_shipped() -> StatusWords:
    words = StatusWords()
    for name in SHIPPED:
        text = (files("exchange.status.words") / name).read_text(encoding="utf-8")
        words = words.overlaid_with(StatusWords.from_toml(text, path=name))
    return words


def _walk(document: Mapping[str, Any], path: str) -> Iterator[tuple[str, str, str]]:
    """Yield subject, meaning and word of everything in a document."""
    for subject, tables in document.items():
        if subject not in _MEANINGS or not isinstance(tables, Mapping):
            raise OptionError(f"has no table [{subject}]", path=path, remedy=f"Known: {', '.join(_MEANINGS)}.")
        for meaning, given in tables.items():
            if meaning not in _MEANINGS[subject]:
                raise OptionError(
                    f"{meaning!r} is no meaning of [{subject}]",
                    path=path,
                    field=subject,
                    remedy=f"Known: {', '.join(_MEANINGS[subject])}.",
                )
            for words in given.values() if isinstance(given, Mapping) else (given,):
                if not isinstance(words, list) or not all(isinstance(word, str) and word.strip() for word in words):
                    raise OptionError(
                        f"{words!r} is no list of words",
                        path=path,
                        field=f"{subject}.{meaning}",
                        remedy='["one", "two"]',
                    )
                yield from ((subject, meaning, word) for word in words)


def _fold_word(subject: str, word: str, path: str) -> str:
    if subject == "color":
        if parse_hex(word) is None:
            raise OptionError(f"{word!r} is no colour", path=path, field=subject, remedy='Write it as "#rrggbb".')
        return word.strip().lower()[:7]
    return fold_key(word) if subject == "field" else " ".join(fold(word).split())
