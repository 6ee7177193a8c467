"""How one record is written: the bytes that all records like it share, and what stands between those bytes."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, field

VALUE = b"\0"
"""Stands for an attribute's value in a tag; no file holds it, since NUL is no character of XML."""

_TAG = re.compile(rb"""<([^<>"']*(?:(?:"[^"<]*"|'[^'<]*')[^<>"']*)*)>""")
_QUOTED = re.compile(rb""""[^"<]*"|'[^'<]*'""")
_NAME = re.compile(rb"[^\s/]*")
_WHITE = b" \t\n\r"


@dataclass(frozen=True)
class Step:
    """Bytes that every record has, and what follows them.

    Attributes
    ----------
    literal
        The bytes.
    opening
        Which ``<`` of the record they begin with, counted from 0; ``None`` where they follow an attribute's value.
    following
        Which ``<`` is the next behind them.
    quote
        The quote that ends the value behind them; empty where a text follows, or nothing more.
    """

    literal: bytes
    opening: int | None
    following: int
    quote: bytes = b""


@dataclass
class Pattern:
    """A record as steps, between every two of them a text or a value; ``pieces`` is for ``Layout.find_shape``."""

    steps: list[Step] = field(default_factory=list)
    pieces: tuple[bytes, ...] = ()


def read_pattern(data: bytes, openings: Sequence[int], variable: Collection[bytes]) -> Pattern | None:
    """Return how the record is written whose tags begin at ``openings``; ``None`` when it is not made of plain tags.

    Parameters
    ----------
    data
        The block it stands in.
    openings
        Where each ``<`` of the record stands.
    variable
        Names of the elements whose attribute values are no part of what records share.
    """
    found = [_TAG.match(data, opening) for opening in openings]
    tags = [tag for tag in found if tag is not None]
    if len(tags) < len(found) or any(tag[1][:1] in (b"!", b"?") for tag in tags):
        return None
    writing = _Writing(data)
    for place, tag in enumerate(tags):
        writing.add_tag(place, tag, has_values=_name_of(tag[1]) in variable)
        if place + 1 < len(tags) and not writing.add_gap(place, tag, tags[place + 1]):
            return None
    return writing.finish(len(tags))


def is_start(tag: bytes) -> bool:
    """Tell whether a tag opens an element that is not empty."""
    return tag[:1] != b"/" and not tag.endswith(b"/")


def is_end(tag: bytes) -> bool:
    """Tell whether a tag closes an element."""
    return tag[:1] == b"/"


def _name_of(tag: bytes) -> bytes:
    match = _NAME.match(tag)
    return match[0] if match else b""


@dataclass
class _Writing:
    """A pattern while it is put together."""

    data: bytes
    literal: bytes = b""
    opening: int | None = 0
    depth: int = 0
    steps: list[Step] = field(default_factory=list)
    pieces: list[bytes] = field(default_factory=list)

    def add_tag(self, place: int, tag: re.Match[bytes], *, has_values: bool) -> None:
        self.depth += is_start(tag[1]) - is_end(tag[1])
        here = tag.start()
        for first, last in self.find_values(tag) if has_values else ():
            self.literal += self.data[here:first]
            self.close(None, place + 1, quote=self.data[last : last + 1])
            here = last
        self.literal += self.data[here : tag.end()]
        self.pieces.append(_QUOTED.sub(_without_value, tag[1]) if has_values else tag[1])

    def find_values(self, tag: re.Match[bytes]) -> Iterator[tuple[int, int]]:
        return ((m.start() + 1, m.end() - 1) for m in _QUOTED.finditer(self.data, tag.start(), tag.end()))

    def add_gap(self, place: int, tag: re.Match[bytes], following: re.Match[bytes]) -> bool:
        """Add what stands between two tags; tell whether it may stand there."""
        gap = self.data[tag.end() : following.start()]
        if is_start(tag[1]) and is_end(following[1]):
            self.close(place + 1, place + 1)
            self.pieces.append(b"")
            return True
        self.literal += gap
        # Between the record's own children white space means nothing; within them it may.
        self.pieces.append(gap if self.depth > 1 else b"")
        return not gap.strip(_WHITE)

    def close(self, opening: int | None, following: int, *, quote: bytes = b"") -> None:
        self.steps.append(Step(self.literal, self.opening, following, quote))
        self.literal, self.opening = b"", opening

    def finish(self, length: int) -> Pattern:
        self.close(None, length)
        return Pattern(self.steps, tuple(self.pieces))


def _without_value(quoted: re.Match[bytes]) -> bytes:
    return quoted[0][:1] + VALUE + quoted[0][-1:]
