r"""Records of a large XML file many thousand at a time, wherever they have few shapes.

A *record* is an element that stands in the file many times (``trkpt``, ``Placemark``). Its *shape* is the sequence
of its tags, attribute values that vary left out. The first record of each shape goes through the parser with marks
in place of its texts, and what the caller takes of it says where the texts of all others of that shape belong. So
names, namespaces and nesting are the parser's word; the scanner itself only cuts and compares bytes.

What is proven on every block before anything is taken from it: its bytes are UTF-8 and hold no character that XML
forbids; every ``<`` begins a tag that ends at the next ``>``; each tag of a record equals, byte by byte, the one at
the same place in the record that was parsed; between tags where no text may stand there is white space only;
references are the five of XML or numeric ones. Otherwise the block is left to the careful way.
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from exchange.formats.text_columns import TextCells, bytes_of, escape_xml, join_rows, to_arrow_numbers, to_cells
from exchange.formats.xml.shapes import Layout, Template
from exchange.formats.xml.slices import Block, Coded, Offsets, code_slices, cut_texts, resolve_references
from exchange.formats.xml.tags import VALUE, Tags, find_tags, is_end, is_start

MOST_KINDS = 16
_WHITE = b" \t\n\r"


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
    if not is_plain(data):
        return None
    block = Block.of(data)
    tags = find_tags(block, layout.variable)
    return _Scanning(block, tags, layout).run() if tags else None


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
class _Slot:
    """Where a text stands in each record of one shape."""

    start: Offsets
    stop: Offsets
    in_attribute: bool = False


_Part = tuple[Offsets, Template, list[_Slot]]


class _Scanning:
    """One block on its way to columns."""

    def __init__(self, block: Block, tags: Tags, layout: Layout) -> None:
        self.block, self.tags, self.layout = block, tags, layout
        self.has_references = b"&" in block.data
        self.slots: dict[str, list[_Part]] = {}

    def run(self) -> Scan | None:
        found = self.find_records()
        if found is None:
            return None
        first, last, name = found
        for rows in _group_by_shape(self.tags.code, first, last):
            if rows is None or not self.read_shape(first[rows], rows, int(last[rows[0]] - first[rows[0]]) + 1):
                return None
        columns = {}
        for key, parts in self.slots.items():
            cells = self.build_column(parts, len(first))
            if cells is None:
                return None
            columns[key] = cells
        start, stop = self.tags.start[first], self.tags.stop[last] + 1
        return Scan(name, start, stop, self.find_joined(first, last, start, stop), columns)

    def find_records(self) -> tuple[Offsets, Offsets, NDArray[np.int32]] | None:
        """Return the first and the last tag of each record, and which element it is."""
        names = list(self.layout.records)
        opens, closes = np.full((2, len(self.tags.distinct)), -1, dtype=np.int32)
        for code, text in enumerate(self.tags.distinct):
            head = re.split(rb"[\s/]", text, maxsplit=1)[0]
            if text[:1] == b"/" and text[1:] in names:
                closes[code] = names.index(text[1:])
            elif head in names:
                opens[code] = names.index(head)
                closes[code] = opens[code] if text.endswith(b"/") else -1
        first = np.flatnonzero(opens[self.tags.code] >= 0)
        last = np.flatnonzero(closes[self.tags.code] >= 0)
        if len(first) != len(last) or not (first <= last).all() or not (last[:-1] < first[1:]).all():
            return None
        name = opens[self.tags.code[first]]
        return (first, last, name) if (name == closes[self.tags.code[last]]).all() else None

    def read_shape(self, first: Offsets, rows: Offsets, length: int) -> bool:
        """Learn the shape of some records from their first, and note where the texts of all of them are."""
        tags = [self.tags.distinct[code] for code in self.tags.code[first[0] : first[0] + length].tolist()]
        slots: list[_Slot] = []
        pieces: list[bytes] = []
        depth = 0
        for place, (tag, following) in enumerate(itertools.pairwise(tags)):
            slots += self.find_values(first + place) if VALUE in tag else []
            depth += is_start(tag) - is_end(tag)
            start, stop = self.tags.stop[first + place] + 1, self.tags.start[first + place + 1]
            pieces += [tag, b""]
            if is_start(tag) and is_end(following):
                slots.append(_Slot(start, stop))
            elif (coded := self.code_white_space(start, stop)) is None:
                return False
            elif depth > 1 and len(coded.first) > 1:
                return self.read_parts(first, rows, length, coded)
            elif depth > 1:
                # Between the record's own children white space means nothing; within them it may.
                pieces[-1] = self.block.data[start[0] : stop[0]]
        slots += self.find_values(first) if length == 1 and VALUE in tags[0] else []
        shape = self.layout.find_shape((*pieces, tags[-1]))
        for key, template in shape.templates.items() if shape else ():
            self.slots.setdefault(key, []).append((rows, template, slots))
        return shape is not None

    def read_parts(self, first: Offsets, rows: Offsets, length: int, coded: Coded) -> bool:
        """Read records of one shape but for their white space, each kind on its own."""
        kinds = range(len(coded.first))
        chosen = (np.flatnonzero(coded.code == kind) for kind in kinds)
        return len(kinds) <= MOST_KINDS and all(self.read_shape(first[of], rows[of], length) for of in chosen)

    def find_values(self, rows: Offsets) -> list[_Slot]:
        for values in self.tags.values:
            at = np.searchsorted(values.rows, rows[0])
            if at < len(values.rows) and values.rows[at] == rows[0]:
                where = slice(None) if len(rows) == len(values.rows) else np.searchsorted(values.rows, rows)
                return [_Slot(start[where], stop[where], in_attribute=True) for start, stop in values.spans]
        return []

    def code_white_space(self, start: Offsets, stop: Offsets) -> Coded | None:
        """Return which of the stretches are the same; ``None`` when one holds more than white space."""
        if (start == stop).all():
            return Coded(np.zeros(len(start), dtype=np.int32), np.zeros(1, dtype=np.int64))
        coded = code_slices(self.block, start, stop)
        texts = [] if coded is None else [self.block.data[start[row] : stop[row]] for row in coded.first.tolist()]
        return None if any(text.strip(_WHITE) for text in texts) else coded

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
            text = to_cells(["".join(pieces)])
            return text.take(to_arrow_numbers(np.zeros(length, dtype=np.int64)))
        return join_rows(pieces)

    def read_texts(self, slot: _Slot, present: NDArray[np.bool_] | None = None) -> TextCells | None:
        cells = cut_texts(self.block, slot.start, slot.stop, present)
        if slot.in_attribute and _holds_line_ends(cells):
            # A parser makes blanks of tabs and line feeds in an attribute (XML 1.0, 3.3.3).
            return None
        return resolve_references(cells) if self.has_references else cells

    def find_joined(self, first: Offsets, last: Offsets, start: Offsets, stop: Offsets) -> NDArray[np.bool_]:
        joined = np.zeros(len(first), dtype=bool)
        joined[1:] = first[1:] == last[:-1] + 1
        rows = np.flatnonzero(joined)
        coded = code_slices(self.block, stop[rows - 1], start[rows])
        if coded is None:
            return np.zeros(len(first), dtype=bool)
        texts = [self.block.data[stop[row - 1] : start[row]] for row in rows[coded.first].tolist()]
        white = np.array([not text.strip(_WHITE) for text in texts], dtype=bool)
        joined[rows] = white[coded.code] if len(rows) else False
        return joined


def _holds_line_ends(cells: TextCells) -> bool:
    octets = bytes_of(cells)
    return bool(len(octets)) and bool((octets < 32).any())


def _group_by_shape(code: NDArray[np.int32], first: Offsets, last: Offsets) -> list[Offsets | None]:
    """Return the rows of records whose tags are all the same, shape by shape; a ``None`` when there are too many."""
    lengths = last - first + 1
    # Each shape costs some work in every block; where almost every record has its own, the parser is faster.
    most = max(16, len(first) // 100)
    groups: list[Offsets | None] = []
    for length in np.unique(lengths).tolist():
        rows = np.flatnonzero(lengths == length)
        while len(rows):
            if len(groups) > most:
                return [None]
            same = np.ones(len(rows), dtype=bool)
            for place in range(length):
                same &= code[first[rows] + place] == code[first[rows[0]] + place]
            groups.append(rows[same])
            rows = rows[~same]
    return groups
