"""How a table of the house is laid out: what each row is, and what each column's heading says.

The column ``exchange`` says what a row is. The model's columns keep their names. A foreign field keeps its name
too, with the type of its values behind a colon where they are no text: ``battery:double``. A cell of the type
``any`` says its own: ``int:7``. A row ``track`` holds what belongs to a track as a whole, the rows ``fix`` after it
its fixes; the column ``track`` numbers them. A row ``perimeter`` has its geometry in the column ``wkt``.
"""

from __future__ import annotations

from collections.abc import Collection

from exchange.formats.properties import KIND, TABLES, escape_name, unescape_name

INCIDENT, TRACK, FIX, PERIMETER = "incident", "track", "fix", "perimeter"
KINDS = frozenset({*TABLES, INCIDENT, TRACK, FIX, PERIMETER})
"""The words that may stand in the column ``exchange``."""

TRACK_NUMBER, GEOMETRY = "track", "wkt"
OWN_COLUMNS = (KIND, TRACK_NUMBER, GEOMETRY)
"""The columns that are no part of the model."""

_TYPES = ("int", "double", "bool", "dateTime", "json", "any", "text")


def head_foreign(name: str, type_name: str, declared: Collection[str]) -> str:
    """Return the heading of a foreign field, where ``declared`` names are the model's.

    >>> head_foreign("battery", "double", ()), head_foreign("time", "", ("time",)), head_foreign("x:int", "", ())
    ('battery:double', 'extra.time', 'x:int:text')
    """
    escaped = escape_name(name, {*declared, *OWN_COLUMNS})
    if not type_name and split_heading(escaped)[1]:
        type_name = "text"
    return f"{escaped}:{type_name}" if type_name else escaped


def split_heading(heading: str) -> tuple[str, str]:
    """Return the name in a heading and the type behind it, which is empty where none is stated."""
    name, colon, type_name = heading.rpartition(":")
    return (name, type_name) if colon and type_name in _TYPES else (heading, "")


def foreign_name(name: str) -> str:
    """Return a foreign field's own name from the name in its heading."""
    return unescape_name(name)


def is_own(header: Collection[str], kinds: Collection[str]) -> bool:
    """Tell whether a table is one of the house, by its header and the words in its column ``exchange``."""
    return KIND in header and (not kinds or not KINDS.isdisjoint(kinds))
