"""A large XML file as a stream of elements and of whole runs of records.

The file is read in blocks that end behind a record. The records of a block are taken by the scanner; what is left
of the file, with a mark in place of each run of records, goes through the parser. So the parser sees, and proves,
all that is not a record, and tells where in it each run stands. From the first block that the scanner does not take,
everything goes through the parser, record by record: that is the careful way, and its result is the same.
"""

from __future__ import annotations

import itertools
import re
import secrets
from collections.abc import Collection, Generator, Iterator, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, BinaryIO, Literal

import numpy as np

from exchange.formats.xml.encoding import Utf8Reader
from exchange.formats.xml.parse import CHUNK_BYTES, Event, SafeParser
from exchange.formats.xml.scan import Scan, scan_records
from exchange.formats.xml.shapes import Layout, Take
from exchange.formats.xml.simplify import simplify

if TYPE_CHECKING:
    from lxml.etree import _Element

BLOCK_BYTES = 1 << 21
MOST_BYTES = 1 << 25
"""A block without the end of a record is no longer waited for; the file goes the careful way."""

_NEAR_END = 1 << 14

_ROOT = re.compile(rb"<([A-Za-z_][^\s/>]*)((?:\s+[^\s=>]+\s*=\s*(?:\"[^\"<]*\"|'[^'<]*'))*\s*)>")
_BEFORE_ROOT = re.compile(rb"\s*(?:<\?xml[^>]*\?>)?(?:\s+|<!--.*?-->|<\?.*?\?>)*", re.DOTALL)


@dataclass(frozen=True)
class Run:
    """Records that follow each other with nothing between.

    Attributes
    ----------
    scan
        All records of the block.
    rows
        Which of them.
    name
        The local name of the record elements.
    """

    scan: Scan
    rows: slice
    name: str


StreamEvent = Event | tuple[Literal["run"], Run]


def stream_records(
    stream: BinaryIO,
    *,
    records: Collection[str],
    variable: Collection[str],
    take: Take,
    tags: Sequence[str] | None = None,
    encoding: str = "",
    careful: bool = False,
    block_bytes: int = BLOCK_BYTES,
) -> Iterator[StreamEvent]:
    """Go through a file: ``("start", element)`` and ``("end", element)`` as ``iterate_elements``, or ``("run", run)``.

    A record comes either within a run or as an element of its own, never both; ``run.scan.columns`` holds for each
    record what ``take`` returns of its element.

    Parameters
    ----------
    stream
        Open for reading bytes, at its start.
    records
        Local names of the record elements. They never hold each other.
    variable
        Local names of the elements in them (or of themselves) whose attribute values differ from one to the next.
    take
        See ``Layout``; called once for each shape of record.
    tags, encoding
        As for ``iterate_elements``; ``tags`` must include the records.
    careful
        Whether to let every record through the parser.
    block_bytes
        About how much to read at a time.

    Raises
    ------
    UnsafeInputError
        When the file has a DOCTYPE or is nested too deeply.
    MalformedError
        When it is not well formed, ends too early, or its bytes do not fit its encoding.
    """
    reader = Utf8Reader(stream, encoding)
    parser = SafeParser(tags=tags)
    data = reader.read(block_bytes)
    root = None if careful else _find_root(data)
    if root is not None:
        yield from parser.feed(data[: root.end()])
        cutter = _Cutter(parser, _make_layout(root, records, variable, take), list(records))
        data = yield from cutter.go_through(reader, data[root.end() :], block_bytes)
    while data:
        yield from parser.feed(data)
        data = reader.read(CHUNK_BYTES)
    yield from parser.close()


def _find_root(data: bytes) -> re.Match[bytes] | None:
    before = _BEFORE_ROOT.match(data)
    return _ROOT.match(data, before.end() if before else 0)


def _make_layout(root: re.Match[bytes], records: Collection[str], variable: Collection[str], take: Take) -> Layout:
    """Return how records are written in a file with this start tag: with the prefix of its root, if any."""
    name: bytes = root[1]
    prefix = name[: name.find(b":") + 1]
    return Layout(
        records=[prefix + record.encode() for record in records],
        variable=[prefix + element.encode() for element in variable],
        take=take,
        context=(root[0], b"</" + name + b">"),
    )


@dataclass
class _Cutter:
    """Take the records out of blocks and put the rest through the parser."""

    parser: SafeParser
    layout: Layout
    names: list[str]
    runs: dict[str, Run] = field(default_factory=dict)
    token: str = field(default_factory=lambda: secrets.token_hex(8))
    count: int = 0
    last_mark: _Element | None = None

    def go_through(self, reader: Utf8Reader, data: bytes, block_bytes: int) -> Generator[StreamEvent, None, bytes]:
        """Go through the file as far as its blocks can be scanned; return the bytes read beyond."""
        while len(data) <= MOST_BYTES:
            more = reader.read(block_bytes)
            cut = self.find_cut(data)
            if cut:
                skeleton = self.scan(data[:cut])
                if skeleton is None:
                    return data + more
                for event in self.parser.feed(skeleton):
                    yield from self.replace_mark(event)
            data = data[cut:] + more
            if not more:
                break
        return data

    def find_cut(self, data: bytes) -> int:
        """Return where the last record of a block ends; 0 where none does."""
        ends = [b"</" + name + b">" for name in self.layout.records]
        # Nearly always a record ends near the end of the block, which is quicker to find there.
        for first in (max(len(data) - _NEAR_END, 0), 0):
            cut = max((place + len(end) for end in ends if (place := data.rfind(end, first)) >= 0), default=0)
            if cut:
                return cut
        return 0

    def scan(self, data: bytes) -> bytes | None:
        """Return a block with a mark in place of each run of records, or ``None`` to take the careful way."""
        data = simplify(data)
        scan = scan_records(data, self.layout)
        return None if scan is None else self.cut_out(data, scan)

    def cut_out(self, data: bytes, scan: Scan) -> bytes | None:
        changes = ~scan.joined
        changes[1:] |= scan.name[1:] != scan.name[:-1]
        bounds = [*np.flatnonzero(changes).tolist(), len(scan.start)]
        pieces: list[bytes] = []
        reached = 0
        octets = np.frombuffer(data, np.uint8)
        for first, end in itertools.pairwise(bounds):
            start, stop = int(scan.start[first]), int(scan.stop[end - 1])
            lines = int(np.count_nonzero(octets[start:stop] == ord("\n")))
            pieces += [data[reached:start], self.mark(scan, slice(first, end), lines)]
            reached = stop
        pieces.append(data[reached:])
        # A prefix that changes its meaning on the way is the parser's business.
        return None if any(b"xmlns" in piece for piece in pieces) else b"".join(pieces)

    def mark(self, scan: Scan, rows: slice, lines: int) -> bytes:
        """Return the element that stands for a run; its line feeds keep the parser's count of lines right."""
        name = int(scan.name[rows.start])
        key = f"{self.token}-{self.count}"
        self.count += 1
        self.runs[key] = Run(scan, rows, self.names[name])
        element = list(self.layout.records)[name]
        return b"<" + element + b"\n" * lines + b' run="' + key.encode() + b'"/>'

    def replace_mark(self, event: Event) -> Iterator[StreamEvent]:
        """Give the run in place of its mark, anything else as it is."""
        kind, element = event
        run = self.runs.get(str(element.get("run"))) if self.runs else None
        if run is None:
            yield event
        elif kind == "end":
            self.remove_last_mark()
            self.last_mark = element
            del self.runs[str(element.get("run"))]
            yield ("run", run)

    def remove_last_mark(self) -> None:
        # Not the mark that has just ended: the parser may still be at work behind it.
        parent = None if self.last_mark is None else self.last_mark.getparent()
        if parent is not None and self.last_mark is not None:
            parent.remove(self.last_mark)
