"""Plain words for columns and markers in many languages, folded so that spelling habits do not matter."""

from __future__ import annotations

import tomllib
import unicodedata
from collections.abc import Mapping
from functools import cache
from importlib.resources import files
from typing import Any

# Letters that Unicode does not take apart into a base letter and a mark.
_LETTERS = str.maketrans({"ł": "l", "ø": "o", "đ": "d", "\u0131": "i", "æ": "ae", "œ": "oe", "þ": "th", "ð": "d"})


def fold(text: str) -> str:
    """Return text without case and accents.

    >>> fold("Długość GEOGRAFICZNA"), fold("Straße")
    ('dlugosc geograficzna', 'strasse')
    """
    lowered = text.casefold()
    if lowered.isascii():
        return lowered
    apart = unicodedata.normalize("NFKD", lowered)
    return "".join(c for c in apart if not unicodedata.combining(c)).translate(_LETTERS)


def fold_key(text: str) -> str:
    """Return the letters and digits of a column's name without case, accents, blanks and punctuation.

    >>> fold_key("Camera_Heading"), fold_key("Höhe ü. M.")
    ('cameraheading', 'hoheum')
    """
    return "".join(c for c in fold(text) if c.isalnum())


@cache
def column_aliases() -> Mapping[str, str]:
    """Return what each folded word means: a model column, or what the position, date or epoch is written in."""
    tables = _load("aliases.toml")
    return {
        fold_key(word): target for target, languages in tables.items() for words in languages.values() for word in words
    }


@cache
def marker_words() -> Mapping[str, frozenset[str]]:
    """Return the folded words that tell a hotspot, and those that tell a place."""
    tables = _load("marker_words.toml")
    return {kind: frozenset(fold(w) for ws in languages.values() for w in ws) for kind, languages in tables.items()}


def _load(name: str) -> dict[str, Any]:
    return tomllib.loads((files("exchange.formats.columns") / name).read_text(encoding="utf-8"))
