"""Blocks in which every record is like the first: the commonest case by far, and the quickest to prove.

The tags of the first record say where those of all others must be; each is compared byte by byte, eight at a time.
What is not alike is left to ``scan_records``, which gives the same where both give something.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from exchange.formats.text_columns import TextCells, escape_xml, join_rows
from exchange.formats.xml.scan import Scan, is_plain
from exchange.formats.xml.shapes import Layout, Template
from exchange.formats.xml.slices import WORD, Block, Offsets, cut_texts, resolve_references
from exchange.formats.xml.tags import is_end, is_start

MOST_TAGS = 512
"""Records with more tags, such as whole tracks, hardly ever have another like them."""

_FEW = 3
_WHITE = b" \t\n\r"


def scan_alike(data: bytes, layout: Layout) -> Scan | None:
    """Return the records of a block that are all like the first; ``None`` where they are not, or may not be.

    Parameters
    ----------
    data, layout
        As for ``scan_records``; only records whose start tag has no attributes are looked for.
    """
    first = _find_first(data, layout)
    if first is None or not _is_like_the_next(data, first, layout):
        return None
    block = Block.of(data)
    opening = np.flatnonzero(block.octets == ord("<"))
    opening = opening[np.searchsorted(opening, first.start) :]
    if len(opening) % len(first.tags):
        return None
    starts = opening.reshape(-1, len(first.tags))
    stops = starts + np.array([len(tag) + 2 for tag in first.tags])
    if not _are_tags_alike(block, starts, first.tags) or not _are_gaps_alike(block, starts, stops, first):
        return None
    if not is_plain(data) or b"]]>" in data:
        return None
    columns = _cut_columns(block, starts, stops, first, layout)
    if columns is None:
        return None
    name = np.full(len(starts), first.name, dtype=np.int32)
    joined = np.arange(len(starts)) > 0
    return Scan(name, starts[:, 0], stops[:, -1], joined, columns)


@dataclass(frozen=True)
class _First:
    """The first record of a block: where it starts, its tags, what stands behind each, and which are texts."""

    name: int
    start: int
    tags: tuple[bytes, ...]
    gaps: tuple[bytes, ...]

    def is_text(self, place: int) -> bool:
        """Tell whether a text stands behind a tag."""
        return place + 1 < len(self.tags) and is_start(self.tags[place]) and is_end(self.tags[place + 1])

    def pieces(self) -> tuple[bytes, ...] | None:
        """Return tags and white space as ``Layout.find_shape`` wants them; ``None`` when text stands elsewhere."""
        pieces: list[bytes] = []
        depth = 0
        for place, (tag, gap) in enumerate(zip(self.tags, self.gaps, strict=True)):
            depth += is_start(tag) - is_end(tag)
            if not self.is_text(place) and gap.strip(_WHITE):
                return None
            # Between the record's own children white space means nothing; within them it may.
            pieces += [tag, b"" if self.is_text(place) or depth <= 1 else gap]
        return tuple(pieces[:-1])


def _find_first(data: bytes, layout: Layout, here: int = 0) -> _First | None:
    found = ((data.find(b"<" + name + b">", here), code, name) for code, name in enumerate(layout.records))
    present = [each for each in found if each[0] >= 0]
    if not present:
        return None
    start, code, name = min(present)
    closing = b"</" + name + b">"
    end = data.find(closing, start)
    following = data.find(b"<", end + 1)
    if end < 0 or data.count(b"<", start, end) >= MOST_TAGS:
        return None
    pieces = data[start + 1 : following if following >= 0 else len(data)].split(b"<")
    parted = [piece.partition(b">") for piece in pieces]
    return _First(code, start, tuple(tag for tag, _, _ in parted), tuple(gap for _, _, gap in parted))


def _is_like_the_next(data: bytes, first: _First, layout: Layout) -> bool:
    """Tell whether the few records behind the first have its tags, so that no time goes into a block that is mixed."""
    here = first.start
    for _ in range(_FEW):
        here += sum(len(tag) + 2 for tag in first.tags)
        following = _find_first(data, layout, here)
        if following is None:
            return True
        if following.tags != first.tags:
            return False
        here = following.start
    return True


def _are_tags_alike(block: Block, starts: NDArray[np.int64], tags: tuple[bytes, ...]) -> bool:
    return all(_is_literal(block, starts[:, place], b"<" + tag + b">") for place, tag in enumerate(tags))


def _are_gaps_alike(block: Block, starts: NDArray[np.int64], stops: NDArray[np.int64], first: _First) -> bool:
    """Tell whether the same white space stands between the tags of all records, and between the records."""
    for place, gap in enumerate(first.gaps[:-1]):
        if first.is_text(place):
            continue
        lengths = starts[:, place + 1] - stops[:, place]
        if (lengths != len(gap)).any() or not _is_literal(block, stops[:, place], gap):
            return False
    between, gap = starts[1:, 0] - stops[:-1, -1], first.gaps[-1]
    return not len(between) or bool(
        not gap.strip(_WHITE) and (between == len(gap)).all() and _is_literal(block, stops[:-1, -1], gap)
    )


def _is_literal(block: Block, at: Offsets, text: bytes) -> bool:
    """Tell whether the same bytes stand at every offset."""
    if len(at) and int(at[-1]) + len(text) > len(block.data):
        return False
    for level in range(0, len(text), WORD):
        piece = text[level : level + WORD]
        mask = np.uint64(int.from_bytes(b"\xff" * len(piece), "little"))
        wanted = np.uint64(int.from_bytes(piece, "little"))
        found = block.words[at + level]
        if not ((found if len(piece) == WORD else found & mask) == wanted).all():
            return False
    return True


def _cut_columns(
    block: Block, starts: NDArray[np.int64], stops: NDArray[np.int64], first: _First, layout: Layout
) -> dict[str, TextCells] | None:
    pieces = first.pieces()
    shape = layout.find_shape(pieces) if pieces is not None else None
    if shape is None:
        return None
    texts = _Texts(block, starts, stops, [place for place in range(len(first.tags)) if first.is_text(place)])
    columns = {key: texts.fill(template) for key, template in shape.templates.items()}
    return None if any(cells is None for cells in columns.values()) else columns


@dataclass(frozen=True)
class _Texts:
    """Where the texts of the records stand: behind which of their tags."""

    block: Block
    starts: NDArray[np.int64]
    stops: NDArray[np.int64]
    places: list[int]

    def fill(self, template: Template) -> TextCells | None:
        """Return a column made of texts and of what is the same for all; ``None`` where a reference is none of XML."""
        import pyarrow as pa

        if all(isinstance(piece, str) for piece in template):
            return pa.repeat("".join(map(str, template)), len(self.starts))
        pieces = [piece if isinstance(piece, str) else self.read(piece) for piece in template]
        if any(piece is None for piece in pieces):
            return None
        if len(pieces) == 1:
            return pieces[0]
        return join_rows([piece if isinstance(piece, str) else escape_xml(piece) for piece in pieces])

    def read(self, slot: int) -> TextCells | None:
        """Return one text of each record."""
        place = self.places[slot]
        cells = cut_texts(self.block, self.stops[:, place], self.starts[:, place + 1])
        return resolve_references(cells) if b"&" in self.block.data else cells
