r"""Records of a large XML file many thousand at a time, wherever they have few shapes.

A *record* is an element that stands in the file many times (``trkpt``, ``Placemark``). Its *shape* is the sequence
of its tags, attribute values that vary left out. The first record of each shape goes through the parser with marks
in place of its texts, and what the caller takes of it says where the texts of all others of that shape belong. So
names, namespaces and nesting are the parser's word; the scanner itself only cuts and compares bytes.

What is proven on every block before anything is taken from it: its bytes are UTF-8 and hold no character that XML
forbids; each record equals, byte by byte, the one that was parsed, but for its texts and the values of its variable
tags; these hold no ``<`` and no end of a CDATA section; references are the five of XML or numeric ones. Otherwise the
block is left to the careful way.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from exchange.formats.text_columns import TextCells, bytes_of, escape_xml, join_rows, to_arrow_numbers, to_cells
from exchange.formats.xml.pattern import Pattern, read_pattern
from exchange.formats.xml.shapes import Layout, Template
from exchange.formats.xml.slices import Block, Offsets, cut_texts, resolve_references

MOST_TAGS = 512
"""Records with more tags, such as whole tracks, hardly ever have another like them."""

_WHITE = b" \t\n\r"
_BEHIND_NAME = np.frombuffer(b" \t\n/>", np.uint8)


@dataclass(frozen=True)
class Scan:
    """The records found in a block.

    Attributes
    ----------
    name
        The element's name of each record, as an index into the layout's records, shape (n,).
    start, stop
        Where each stands in the block, shape (n,).
    joined
        Which records follow their predecessor with nothing but white space between, shape (n,).
    columns
        Texts by key, null where a record has none, each of shape (n,).
    """

    name: NDArray[np.int32]
    start: Offsets
    stop: Offsets
    joined: NDArray[np.bool_]
    columns: Mapping[str, TextCells]


def scan_records(data: bytes, layout: Layout) -> Scan | None:
    """Return the records of a block that begins and ends outside of records, or ``None`` to take the careful way."""
    # One byte is found much faster than three.
    if not is_plain(data) or (b"]" in data and b"]]>" in data):
        return None
    block = Block.of(data)
    records = _find_records(block, layout)
    return None if records is None else _Scanning(block, records, layout).run()


def is_plain(data: bytes) -> bool:
    """Tell whether bytes are UTF-8 and hold only characters that XML 1.0 allows, lines ending in LF."""
    octets = np.frombuffer(data, np.uint8)
    others = int(np.count_nonzero(octets < 32)) - int(np.count_nonzero(octets == ord("\n")))
    if others and others != data.count(b"\t"):
        return False
    if data.isascii():
        return True
    try:
        data.decode()
    except UnicodeDecodeError:
        return False
    return b"\xef\xbf\xbe" not in data and b"\xef\xbf\xbf" not in data


@dataclass(frozen=True)
class _Records:
    """Where the tags of a block begin, its end behind them, and which of them are the first and the last of records."""

    opening: Offsets
    first: Offsets
    last: Offsets
    name: NDArray[np.int32]


def _find_records(block: Block, layout: Layout) -> _Records | None:
    opening = np.flatnonzero(block.octets == ord("<"))
    return _find_alike(block, layout, opening) or _find_each(block, layout, opening)


def _find_alike(block: Block, layout: Layout, opening: Offsets) -> _Records | None:
    """Return the records where all have as many tags as the first and nothing stands among them: the commonest case."""
    head = opening[:MOST_TAGS]
    for code, name in enumerate(layout.records):
        starts, ends = _find_tags(block, head, block.words[head], name)
        if len(starts) and len(ends) and starts[0] < ends[0] < (starts[1] if len(starts) > 1 else len(opening)):
            first = np.arange(starts[0], len(opening), ends[0] - starts[0] + 1)
            last = first + (ends[0] - starts[0])
            if last[-1] != len(opening) - 1 or not block.has_at(opening[last], b"</" + name + b">").all():
                return None
            return _Records(np.append(opening, len(block.data)), first, last, np.full(len(first), code, np.int32))
    return None


def _find_each(block: Block, layout: Layout, opening: Offsets) -> _Records | None:
    words = block.words[opening]
    opens, closes = np.full((2, len(opening)), -1, dtype=np.int32)
    for code, name in enumerate(layout.records):
        starts, ends = _find_tags(block, opening, words, name)
        opens[starts], closes[ends] = code, code
    first, ends = np.flatnonzero(opens >= 0), np.flatnonzero(closes >= 0)
    # Where no end follows before the next start, the element is empty or the file is broken; the parser will tell.
    of = np.searchsorted(first, ends) - 1
    last = first.copy()
    if len(of) and (of[0] < 0 or (of[1:] == of[:-1]).any() or (opens[first[of]] != closes[ends]).any()):
        return None
    last[of] = ends
    if not len(first) or int((last - first).max()) >= MOST_TAGS:
        return None
    return _Records(np.append(opening, len(block.data)), first, last, opens[first])


def _find_tags(
    block: Block, opening: Offsets, words: NDArray[np.uint64], name: bytes
) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Return which tags start an element of this name and which end one."""
    starts = block.find_among(opening, words, b"<" + name)
    behind = block.octets[np.minimum(opening[starts] + 1 + len(name), len(block.data) - 1)]
    return starts[np.isin(behind, _BEHIND_NAME)], block.find_among(opening, words, b"</" + name + b">")


@dataclass(frozen=True, eq=False)
class _Slot:
    """Where a text stands in each record of one shape."""

    start: Offsets
    stop: Offsets
    in_attribute: bool = False

    def take(self, rows: Any) -> _Slot:
        return _Slot(self.start[rows], self.stop[rows], self.in_attribute)


_Part = tuple[Offsets, Template, list[_Slot]]


@dataclass
class _Scanning:
    """One block on its way to columns."""

    block: Block
    records: _Records
    layout: Layout
    parts: dict[str, list[_Part]] = field(default_factory=dict)
    quotes: dict[bytes, Offsets] = field(default_factory=dict)

    def run(self) -> Scan | None:
        first, last = self.records.first, self.records.last
        start, stop = self.records.opening[first], np.empty(len(first), dtype=np.int64)
        # Each shape costs some work in every block; where almost every record has its own, the parser is faster.
        most = max(16, len(first) // 100)
        for length in np.unique(last - first).tolist():
            rows = np.flatnonzero(last - first == length)
            while len(rows):
                taken = self.take_shape(rows, length + 1, stop) if most else None
                if taken is None:
                    return None
                rows, most = rows[~taken], most - 1
        columns = {key: self.build_column(parts, len(first)) for key, parts in self.parts.items()}
        whole = {key: cells for key, cells in columns.items() if cells is not None}
        if len(whole) < len(columns):
            return None
        return Scan(self.records.name, start, stop, self.find_joined(start, stop), whole)

    def take_shape(self, rows: Offsets, length: int, stop: Offsets) -> NDArray[np.bool_] | None:
        """Take the records that are like the first of the given ones; return which, ``None`` when it is not regular."""
        first = self.records.first[rows]
        openings = self.records.opening[first[0] : first[0] + length].tolist()
        pattern = read_pattern(self.block.data, openings, self.layout.variable)
        shape = None if pattern is None else self.layout.find_shape(pattern.pieces)
        if pattern is None or shape is None:
            return None
        fitting, slots, ends = self.fit(pattern, first)
        taken = np.zeros(len(rows), dtype=bool)
        taken[fitting] = True
        stop[rows[fitting]] = ends
        for key, template in shape.templates.items():
            self.parts.setdefault(key, []).append((rows[fitting], template, slots))
        return taken if taken[0] else None

    def fit(self, pattern: Pattern, first: Offsets) -> tuple[Offsets, list[_Slot], Offsets]:
        """Return which records are written like the pattern, their texts and values in order, and their ends."""
        fitting = np.arange(len(first))
        slots: list[_Slot] = []
        reached = first
        for step in pattern.steps:
            begin = reached if step.opening is None else self.records.opening[first + step.opening]
            is_like = self.block.has_at(begin, step.literal)
            start, reached = begin + len(step.literal), self.records.opening[first + step.following]
            if step.quote:
                quoted = self.find_quotes(step.quote, start)
                is_like &= quoted < reached
                reached = quoted
            if not is_like.all():
                fitting, first, start, reached = fitting[is_like], first[is_like], start[is_like], reached[is_like]
                slots = [slot.take(is_like) for slot in slots]
            slots.append(_Slot(start, reached, in_attribute=bool(step.quote)))
        return fitting, slots, slots.pop().start

    def find_quotes(self, quote: bytes, start: Offsets) -> Offsets:
        """Return where the next quote stands at or behind each offset; the end of the block where there is none."""
        if quote not in self.quotes:
            self.quotes[quote] = np.append(np.flatnonzero(self.block.octets == ord(quote)), len(self.block.data))
        quotes = self.quotes[quote]
        return quotes[np.minimum(np.searchsorted(quotes, start), len(quotes) - 1)]

    def build_column(self, parts: list[_Part], length: int) -> TextCells | None:
        """Return one column of texts, shape (length,), from its parts by shape."""
        import pyarrow as pa

        if all(len(template) == 1 and isinstance(template[0], int) for _, template, _ in parts):
            return self.build_simple_column(parts, length)
        cells = []
        for rows, template, slots in parts:
            filled = self.fill_template(template, slots, len(rows))
            if filled is None:
                return None
            cells.append(filled)
        if len(parts) == 1 and len(cells[0]) == length:
            return cells[0]
        place = np.full(length, -1, dtype=np.int64)
        place[np.concatenate([rows for rows, _, _ in parts])] = np.arange(sum(len(rows) for rows, _, _ in parts))
        # The last of them is null, and stands where a record has no such text.
        whole = pa.concat_arrays([*cells, to_cells([None])])
        return whole.take(to_arrow_numbers(np.where(place < 0, len(whole) - 1, place)))

    def build_simple_column(self, parts: list[_Part], length: int) -> TextCells | None:
        if len(parts) == 1 and len(parts[0][0]) == length:
            return self.read_texts(parts[0][2][int(parts[0][1][0])])
        start, stop = np.zeros((2, length), dtype=np.int64)
        present = np.zeros(length, dtype=bool)
        in_attribute = False
        for rows, template, slots in parts:
            slot = slots[int(template[0])]
            start[rows], stop[rows], present[rows] = slot.start, slot.stop, True
            in_attribute |= slot.in_attribute
        stop = np.maximum.accumulate(stop)
        return self.read_texts(_Slot(np.where(present, start, stop), stop, in_attribute=in_attribute), present)

    def fill_template(self, template: Template, slots: list[_Slot], length: int) -> TextCells | None:
        import pyarrow as pa

        pieces: list[Any] = []
        for piece in template:
            if isinstance(piece, str):
                pieces.append(piece)
                continue
            slot = slots[piece]
            cells = self.read_texts(slot)
            if cells is None or (slot.in_attribute and len(template) > 1):
                return None
            pieces.append(escape_xml(cells) if len(template) > 1 else cells)
        if all(isinstance(piece, str) for piece in pieces):
            return pa.repeat("".join(pieces), length)
        return pieces[0] if len(pieces) == 1 else join_rows(pieces)

    def read_texts(self, slot: _Slot, present: NDArray[np.bool_] | None = None) -> TextCells | None:
        cells = cut_texts(self.block, slot.start, slot.stop, present)
        if slot.in_attribute and _holds_line_ends(cells):
            # A parser makes blanks of tabs and line feeds in an attribute (XML 1.0, 3.3.3).
            return None
        return resolve_references(cells) if self.block.has_references else cells

    def find_joined(self, start: Offsets, stop: Offsets) -> NDArray[np.bool_]:
        """Return which records stand behind another with nothing but white space between."""
        joined = np.zeros(len(start), dtype=bool)
        joined[1:] = self.records.first[1:] == self.records.last[:-1] + 1
        rows = np.flatnonzero(joined)
        if len(rows):
            begin, end = stop[rows - 1], start[rows]
            usual = self.block.data[int(begin[0]) : int(end[0])]
            is_usual = (end - begin == len(usual)) & self.block.has_at(begin, usual)
            joined[rows] = not usual.strip(_WHITE)
            for row in rows[~is_usual].tolist():
                joined[row] = not self.block.data[int(stop[row - 1]) : int(start[row])].strip(_WHITE)
        return joined


def _holds_line_ends(cells: TextCells) -> bool:
    octets = bytes_of(cells)
    return bool(len(octets)) and bool((octets < 32).any())
