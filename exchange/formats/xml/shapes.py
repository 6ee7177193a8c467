"""The shapes of records: what the parser and the reader of a format make of one, kept for all that are alike."""

from __future__ import annotations

import itertools
import re
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from exchange.errors import ReadError
from exchange.formats.xml.parse import parse_fragment
from exchange.formats.xml.pattern import VALUE, is_end, is_start

if TYPE_CHECKING:
    from lxml.etree import _Element

Take = Callable[["_Element"], Mapping[str, str]]
Template = tuple[str | int, ...]

MOST_SHAPES = 1024
# Private-use characters that frame the number of a text in a record of which only the shape is asked.
_OPEN, _CLOSE = "\ue000", "\ue001"
_MARK = re.compile(f"{_OPEN}(\\d+){_CLOSE}")


Pieces = tuple[bytes, ...]


@dataclass(frozen=True)
class Layout:
    """What to look for in a file.

    Attributes
    ----------
    records
        Names of the record elements as they stand in the file, prefix included.
    variable
        Names of the elements whose attribute values differ from record to record, such as a point with its
        position; all values of such a tag are taken as texts.
    take
        Returns what is wanted of one record: texts by key. It may look at names and attributes but must treat a
        text as opaque: take it whole, or put it among other text as it would stand in canonical XML.
    context
        The start tag of the root element, which declares the namespaces, and its end tag.
    """

    records: Collection[bytes]
    variable: Collection[bytes]
    take: Take
    context: tuple[bytes, bytes]
    shapes: dict[Pieces, Shape | None] = field(default_factory=dict)

    def find_shape(self, pieces: Pieces) -> Shape | None:
        """Return the shape of records made of these tags, or ``None`` when they must go the careful way.

        Parameters
        ----------
        pieces
            The record's tags in order, and behind each but the last the white space that may not be lost.
        """
        if pieces not in self.shapes and len(self.shapes) < MOST_SHAPES:
            self.shapes[pieces] = _learn_shape(pieces, self)
        return self.shapes.get(pieces)


@dataclass(frozen=True)
class Shape:
    """Where the texts of a record go: for each key its pieces, text that is the same for all or the slot's number."""

    templates: Mapping[str, Template]


def _learn_shape(pieces: Pieces, layout: Layout) -> Shape | None:
    """Parse one record with a mark in place of each text; ``None`` when the parser or the caller will not have it."""
    marks = map(_mark, itertools.count())
    tags, gaps = pieces[0::2], pieces[1::2]
    fragment: list[bytes] = []
    for tag, gap, following in itertools.zip_longest(tags, gaps, tags[1:], fillvalue=b""):
        literals = tag.split(VALUE)
        if len(literals) > 1 and b"xmlns" in tag:
            return None
        fragment += [b"<", literals[0], *(next(marks) + literal for literal in literals[1:]), b">"]
        fragment.append(next(marks) if is_start(tag) and is_end(following) else gap)
    try:
        root = parse_fragment(layout.context[0] + b"".join(fragment) + layout.context[1])
    except ReadError:
        return None
    if len(root) != 1 or (root.text or "").strip() or (root[0].tail or "").strip():
        return None
    return Shape({key: _split_marks(text) for key, text in layout.take(root[0]).items()})


def _mark(number: int) -> bytes:
    return f"{_OPEN}{number}{_CLOSE}".encode()


def _split_marks(text: str) -> tuple[str | int, ...]:
    pieces = _MARK.split(text)
    marked = [int(piece) if place % 2 else piece for place, piece in enumerate(pieces)]
    return tuple(piece for piece in marked if piece != "") or ("",)
