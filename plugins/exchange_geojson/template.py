"""The pattern of a file's features: what stands in all of them alike, and where their values are."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from exchange_geojson.positions import AXES

SlotKind = Literal["text", "scalar", "axis"]

_TOKEN = re.compile(rb'[ \t\r\n]*("[^"\\]*"|-?[0-9][0-9.eE+-]*|true|false|null|[][{},:])')
_QUOTE = b'"'


class IrregularError(Exception):
    """A feature has something that no pattern covers."""


@dataclass(frozen=True)
class Slot:
    """One place in a feature where a value stands.

    Attributes
    ----------
    name
        Of the property, ``id``, or the axis.
    kind
        ``text`` between quotes, ``scalar`` a number, truth value or null, ``axis`` a coordinate.
    start, end
        Where it stands in the feature that the pattern was made of, quotes left out.
    """

    name: str
    kind: SlotKind
    start: int
    end: int


@dataclass(frozen=True)
class Template:
    """The pattern of features that are points with plain properties.

    Attributes
    ----------
    slots
        In the order of the text.
    constants
        What stands before each slot, and behind the last one up to the end of the feature.
    mark
        What the property that marks the house's own says, or empty.
    """

    slots: tuple[Slot, ...]
    constants: tuple[bytes, ...]
    mark: str


def make_template(feature: bytes, mark_name: str) -> Template:
    """Return the pattern of one feature.

    Parameters
    ----------
    feature
        The text of a whole feature, known to be JSON.
    mark_name
        The property whose text is part of the pattern, since it says what the feature is.

    Raises
    ------
    IrregularError
        When it is no point with plain properties, or has escaped text.
    """
    parser = _Parser(feature, mark_name)
    parser.read_feature()
    slots = tuple(parser.slots)
    ends = [0, *(slot.end for slot in slots)]
    starts = [*(slot.start for slot in slots), len(feature)]
    constants = tuple(feature[a:b] for a, b in zip(ends, starts, strict=True))
    return Template(slots, constants, parser.mark)


class _Parser:
    """Walk through one feature by the rules of GeoJSON."""

    def __init__(self, feature: bytes, mark_name: str) -> None:
        self.slots: list[Slot] = []
        self.mark = ""
        self._feature = feature
        self._mark_name = mark_name
        self._position = 0

    def read_feature(self) -> None:
        seen = set()
        for name in self._read_names():
            seen.add(name)
            if name == "type":
                self._expect_text(b"Feature")
            elif name == "geometry":
                self._read_point()
            elif name == "properties":
                self._read_properties()
            elif name == "id":
                self._read_value("id")
            else:
                raise IrregularError(name)
        names = [slot.name for slot in self.slots if slot.kind != "axis"]
        if not seen >= {"type", "geometry", "properties"} or len(set(names)) != len(names):
            raise IrregularError("members")

    def _read_point(self) -> None:
        seen = set()
        for name in self._read_names():
            seen.add(name)
            if name == "type":
                self._expect_text(b"Point")
            elif name == "coordinates":
                self._read_position()
            else:
                raise IrregularError(name)
        if seen != {"type", "coordinates"}:
            raise IrregularError("geometry")

    def _read_position(self) -> None:
        self._expect(b"[")
        for axis in AXES:
            token, start, end = self._next()
            if token[:1] not in b"-0123456789":
                raise IrregularError("position")
            self.slots.append(Slot(axis, "axis", start, end))
            mark = self._next()[0]
            if mark == b"]" and axis != "longitude":
                return
            if mark != b",":
                raise IrregularError("position")
        raise IrregularError("position")

    def _read_properties(self) -> None:
        for name in self._read_names():
            if name == self._mark_name:
                self.mark = self._expect_text(None).decode()
            else:
                self._read_value(name)

    def _read_value(self, name: str) -> None:
        token, start, end = self._next()
        if token[:1] == _QUOTE:
            self.slots.append(Slot(name, "text", start + 1, end - 1))
        elif token in (b"[", b"]", b"{", b"}", b",", b":"):
            raise IrregularError(name)
        else:
            self.slots.append(Slot(name, "scalar", start, end))

    def _read_names(self) -> Iterator[str]:
        """Yield the names of an object; whoever asks for the next one has read the value of the last."""
        self._expect(b"{")
        seen: set[bytes] = set()
        while True:
            token = self._next()[0]
            if token == b"}" and not seen:
                return
            if token[:1] != _QUOTE or token in seen:
                raise IrregularError("names")
            seen.add(token)
            self._expect(b":")
            yield token[1:-1].decode()
            mark = self._next()[0]
            if mark == b"}":
                return
            if mark != b",":
                raise IrregularError("names")

    def _expect_text(self, text: bytes | None) -> bytes:
        token = self._next()[0]
        if token[:1] != _QUOTE or (text is not None and token != _QUOTE + text + _QUOTE):
            raise IrregularError("text")
        return token[1:-1]

    def _expect(self, mark: bytes) -> None:
        if self._next()[0] != mark:
            raise IrregularError("mark")

    def _next(self) -> tuple[bytes, int, int]:
        match = _TOKEN.match(self._feature, self._position)
        if match is None:
            raise IrregularError("token")
        self._position = match.end()
        return match[1], match.start(1), match.end(1)
