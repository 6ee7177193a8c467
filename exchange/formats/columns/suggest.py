"""Offer what an unknown column may be, with the line to write; a suggestion is never applied by itself."""

from __future__ import annotations

import difflib
import re
from functools import cache, lru_cache

from exchange.formats.columns.targets import TARGETS
from exchange.formats.columns.words import column_aliases, fold, fold_key

_CLOSENESS = 0.84  # One letter wrong in seven; looser offers nonsense.
_SHORTEST, _LONGEST = 3, 40
_PIECE = re.compile(r"[A-Z]?[a-z]+|[A-Z]+(?![a-z])|[^\W\d_A-Za-z]+")
_APPEARANCE = {"mode", "color", "colour", "scale", "style", "icon", "html", "href", "url"}
"""Pieces of a name that tell how a marker looks or is drawn, so that the name means no value of the model."""

_ABBREVIATIONS = {
    "tmp": "temperature",
    "conf": "confidence",
    "acc": "accuracy",
    "stat": "status",
    "acft": "aircraft",
    "cmt": "note",
}


@lru_cache(maxsize=4096)
def suggest_meaning(name: str) -> str:
    """Return the model column that a column's name comes near to, or the empty text.

    >>> suggest_meaning("tmpMax"), suggest_meaning("temprature"), suggest_meaning("wind"), suggest_meaning("icon_color")
    ('temperature', 'temperature', '', '')
    """
    if len(name) > _LONGEST:
        return ""
    key = fold_key(name)
    near = difflib.get_close_matches(key, _candidates(key), n=1, cutoff=_CLOSENESS)
    return _as_column(near[0]) if near else _suggest_by_piece(name)


def describe_meaning(name: str, column: str, key: str = "", value: str = "") -> str:
    """Return the line of a mapping file that says what a column is.

    >>> describe_meaning("tmpMax", "temperature")
    'tmpMax = { is = "temperature", unit = "F" }'
    """
    if not key and TARGETS[column].quantity:
        key, value = (
            "unit",
            {"temperature": "F", "area": "ac", "share": "percent", "angle": "deg"}.get(
                str(TARGETS[column].quantity), "ft"
            ),
        )
    rest = f", {key} = {_quote(value)}" if key else ""
    shown = name if re.fullmatch(r"[A-Za-z0-9_-]+", name) else _quote(name)
    return f'{shown} = {{ is = "{column}"{rest} }}'


def _suggest_by_piece(name: str) -> str:
    keys = [fold(piece) for piece in _PIECE.findall(name)]
    if _APPEARANCE.intersection(keys):
        return ""
    for key in keys:
        column = _ABBREVIATIONS.get(key) or _as_column(key)
        if column and len(key) >= _SHORTEST:
            return column
    return ""


def _as_column(key: str) -> str:
    target = column_aliases().get(key, "")
    return target if target in TARGETS and target not in ("date",) else ""


@cache
def _keys_by_start() -> dict[str, list[str]]:
    starts: dict[str, list[str]] = {}
    for key, target in column_aliases().items():
        if target in TARGETS and len(key) > _SHORTEST:
            starts.setdefault(key[0], []).append(key)
    return starts


def _candidates(key: str) -> list[str]:
    return [known for known in _keys_by_start().get(key[:1], []) if abs(len(known) - len(key)) <= 2]


def _quote(text: str) -> str:
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    return '"' + "".join(c if c.isprintable() else f"\\U{ord(c):08X}" for c in escaped) + '"'
