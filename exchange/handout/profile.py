"""What one kind of device can hold: a profile describes limits, not products."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from typing import Any, Final, Literal, get_args

from exchange.errors import OptionError
from exchange.geo.coordinates.formatting import OUTPUT_FORMS, OutputForm
from exchange.handout.letters import Letters
from exchange.model import STATUS_WORDS

Layout = Literal["comment", "columns"]
LAYOUTS: Final[tuple[Layout, ...]] = get_args(Layout)

FIELDS: Final = (
    "number",
    "status",
    "temperature",
    "seen",
    "edge",
    "position",
    "accuracy",
    "by",
    "altitude",
    "note",
)
"""What travels with a spot beside its name and its place, the most important first."""

_NAME = re.compile(r"[a-z0-9]+(-[a-z0-9]+)*")
SMALLEST_NAME: Final = 2


@dataclass(frozen=True, kw_only=True)
class Profile:
    """The limits of one kind of device.

    Attributes
    ----------
    name
        Lower-case words with hyphens, by what the device is.
    title
        One line for people.
    format, format_version
        Name of a loaded format, and its version; empty is the newest.
    name_length
        Most letters of a point's name; 0 is without limit. Letters are counted as Unicode characters.
    name_letters
        Which letters a name may have.
    layout
        ``comment``: what travels is one line of text a point; ``columns``: each field has a column of its own.
    comment_length
        Most letters of the comment, or of the note where the layout is columns; 0 is none, ``None`` without limit.
    comment_letters
        Which letters a comment may have.
    most_points
        In one file; 0 is without limit.
    keeps_extensions
        Whether what the format's own elements cannot say survives on the device; else it is left out.
    fields
        What travels, the most important first; of ``FIELDS``.
    coordinate_forms
        How positions are written out as text; may be none.
    symbols
        The word a device draws each status by; without them none is written.
    file_name_length
        Most letters of a file's name with its suffix.
    file_name_letters
        Which letters it may have before the suffix.
    origin
        Which file or package the profile came from, for messages.

    Raises
    ------
    OptionError
        When a limit makes no sense.
    """

    name: str
    title: str = ""
    format: str = "gpx"
    format_version: str = ""
    name_length: int = 0
    name_letters: Letters = field(default_factory=Letters)
    layout: Layout = "comment"
    comment_length: int | None = None
    comment_letters: Letters = field(default_factory=Letters)
    most_points: int = 0
    keeps_extensions: bool = False
    fields: tuple[str, ...] = FIELDS
    coordinate_forms: tuple[OutputForm, ...] = ()
    symbols: Mapping[str, str] = field(default_factory=dict)
    file_name_length: int = 64
    file_name_letters: Letters = field(default_factory=lambda: Letters("A-Za-z0-9_-"))
    origin: str = field(default="", compare=False)

    def __post_init__(self) -> None:
        """Check every limit."""
        self._require(bool(_NAME.fullmatch(self.name)), "name", "Use lower-case words with hyphens.")
        self._require(self.name_length == 0 or self.name_length >= SMALLEST_NAME, "name_length", "Give 2 or more.")
        self._require(self.layout in LAYOUTS, "layout", f"Use one of: {', '.join(LAYOUTS)}.")
        self._require((self.comment_length or 0) >= 0, "comment_length", "Give 0 or more.")
        self._require(self.most_points >= 0, "most_points", "Give 1 or more, or leave it out.")
        self._require(self.file_name_length >= 8, "file_name_length", "Give 8 or more.")
        self._require(set(self.fields) <= set(FIELDS), "fields", f"Use these: {', '.join(FIELDS)}.")
        self._require(
            set(self.coordinate_forms) <= set(OUTPUT_FORMS),
            "coordinate_forms",
            f"Use these: {', '.join(OUTPUT_FORMS)}.",
        )
        self._require(set(self.symbols) <= set(STATUS_WORDS), "symbols", f"Use these: {', '.join(STATUS_WORDS)}.")

    def _require(self, holds: bool, key: str, remedy: str) -> None:
        if not holds:
            raise OptionError(
                f"{getattr(self, key)!r} is no {key} of a profile", path=self.origin or None, field=key, remedy=remedy
            )


_KINDS: Final[Mapping[str, type]] = {
    "title": str,
    "format": str,
    "format_version": str,
    "name_length": int,
    "name_letters": str,
    "layout": str,
    "comment_length": int,
    "comment_letters": str,
    "most_points": int,
    "keeps_extensions": bool,
    "fields": list,
    "coordinate_forms": list,
    "symbols": dict,
    "file_name_length": int,
    "file_name_letters": str,
}
assert set(_KINDS) == {f.name for f in fields(Profile)} - {"name", "origin"}  # noqa: S101  # a key would be refused


def build_profile(name: str, values: Mapping[str, Any], *, origin: str) -> Profile:
    """Return a profile from plain data, as it stands in a TOML file.

    Parameters
    ----------
    name
        Of the profile.
    values
        By the names of ``Profile``'s attributes.
    origin
        The file or package it came from.

    Raises
    ------
    OptionError
        When a key is unknown, a value is of the wrong kind, or a limit makes no sense; names the origin.
    """
    if not isinstance(values, Mapping):
        raise OptionError(
            f"{values!r} is no profile", path=origin, field=name, remedy="Give its limits by their names."
        )
    for key, value in values.items():
        kind = _KINDS.get(key)
        if kind is None:
            raise OptionError(
                f"a profile has no {key!r}", path=origin, field=name, remedy=f"It has: {', '.join(sorted(_KINDS))}."
            )
        if type(value) is not kind:
            raise OptionError(f"{value!r} is no {kind.__name__}", path=origin, field=f"{name}.{key}")
    return Profile(name=name, origin=origin, **{key: _convert(key, value, origin) for key, value in values.items()})


def _convert(key: str, value: Any, origin: str) -> Any:
    if not key.endswith("_letters"):
        return tuple(value) if isinstance(value, list) else value
    try:
        return Letters(value)
    except OptionError as error:
        raise OptionError(error.message, path=origin, field=key, remedy=error.remedy) from error
