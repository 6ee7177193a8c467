"""Documents read block by block: regular placemarks by the scanner, everything else by the parser.

The careful way (``read_document`` with ``careful=True``) gives the whole file to the parser; it is the definition.
Otherwise runs of placemarks that the scanner can read are cut out of the block, and the parser sees a stand-in for
each run, so that it knows where in the folders they are.
"""

from __future__ import annotations

import itertools
import secrets
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, BinaryIO

from exchange.errors import MalformedError, NotThisFormatError, OptionError
from exchange.formats.arrow_columns import find_valid
from exchange.formats.options import ReadOptions
from exchange.formats.text_columns import TextCells
from exchange.formats.time_text import parse_zone
from exchange.formats.xml.encoding import Utf8Reader
from exchange.formats.xml.parse import SafeParser, iterate_elements, parse_fragment
from exchange.formats.xml.scan import Scan, scan_records
from exchange.formats.xml.shapes import Layout
from exchange.model import Packet
from exchange_kml.features import FeatureReader
from exchange_kml.gather import Gatherer
from exchange_kml.plain import Plain, as_entities, find_aside_around, find_end, find_last_tag, make_plain, restore_marks
from exchange_kml.problems import Teller
from exchange_kml.serialise import escape_attribute
from exchange_kml.take import STREAMS, take_placemark
from exchange_kml.walker import TAGS, Container, Walker

if TYPE_CHECKING:
    from lxml.etree import _Element

BLOCK_BYTES = 1 << 21
_FEED_BYTES = 1 << 18
_PEEK_BYTES = 1 << 14


def read_document(
    open_stream: Callable[[], BinaryIO],
    name: str,
    options: ReadOptions,
    *,
    careful: bool = False,
    block_bytes: int = BLOCK_BYTES,
) -> Iterator[Packet]:
    """Read a KML document batch by batch.

    Parameters
    ----------
    open_stream
        Opens the document's bytes at their start; more than once where styles stand behind what they are for.
    name
        What messages call the file.
    options
        What the file does not say of itself.
    careful
        Whether everything goes through the parser.
    block_bytes
        How many bytes are looked at together.

    Raises
    ------
    NotThisFormatError
        When the root element is not KML's.
    MalformedError
        When it is no XML, or ends too early.
    UnsafeInputError
        When it has a DOCTYPE or is nested too deeply.
    OptionError
        When a layer asked for is not there, or another option is not usable.
    """
    reading = _Reading(open_stream, name, options, block_bytes)
    with open_stream() as stream:
        reader = Utf8Reader(stream, options.encoding)
        try:
            yield from reading.read_carefully(reader) if careful else reading.read_blocks(reader)
        except MalformedError:
            # What the scanner took is missing from the parser's count of lines.
            with open_stream() as again:
                for _ in iterate_elements(again, tags=["{*}kml"], encoding=options.encoding):
                    pass
            raise
    yield reading.finish()


@dataclass
class _Run:
    """Placemarks that follow each other with nothing between them, cut out of a block."""

    block: bytes
    span: slice
    columns: dict[str, TextCells]
    length: int
    has_marks: bool
    context: bytes


@dataclass
class _Reading:
    """One document on its way into packets."""

    open_stream: Callable[[], BinaryIO]
    name: str
    options: ReadOptions
    block_bytes: int
    layouts: dict[bytes, Layout] = field(default_factory=dict)
    runs: dict[str, _Run] = field(default_factory=dict)
    rest: bytes = b""
    run_count: int = 0

    def __post_init__(self) -> None:
        zone = parse_zone(self.options.assume_timezone) if self.options.assume_timezone else None
        self.teller = Teller(self.name)
        self.gatherer = Gatherer()
        self.walker = Walker(self.teller, zone, self.gatherer.add_row, self.take_run)
        self.features = FeatureReader(self.name, self.options, self.walker, self.teller, self.open_stream)
        self.parser = SafeParser(tags=TAGS)
        # Of this reading only, so that no file can hold it.
        self.run_mark = f"run-{secrets.token_hex(8)}"

    def read_carefully(self, reader: Utf8Reader) -> Iterator[Packet]:
        while data := reader.read(_FEED_BYTES):
            yield from self.feed(data)
        yield from self.close()

    def read_blocks(self, reader: Utf8Reader) -> Iterator[Packet]:
        while chunk := reader.read(self.block_bytes):
            self.rest += chunk
            if self.walker.root is None:
                yield from self.feed_head()
            if self.walker.root is not None:
                yield from self.read_rest()
        yield from self.feed(self.rest)
        yield from self.close()

    def feed_head(self) -> Iterator[Packet]:
        """Give everything before the first placemark to the parser."""
        first = self.rest.find(b"Placemark")
        start = self.rest.rfind(b"<", 0, first) if first >= 0 else 0
        if start > 0 and find_aside_around(self.rest, start) is None:
            head, self.rest = self.rest[:start], self.rest[start:]
            yield from self.feed(head)
        elif len(self.rest) >= self.block_bytes:
            head, self.rest = self.rest, b""
            yield from self.read_all_the_rest(head)

    def read_all_the_rest(self, data: bytes) -> Iterator[Packet]:
        end = find_last_tag(data) or len(data)
        self.rest = data[end:]
        yield from self.feed(data[:end])

    def read_rest(self) -> Iterator[Packet]:
        if self.walker.is_in_track and self.walker.root is not None:
            yield from self.read_fixes(self.walker.root)
        end = find_end(self.rest, b"</" + self.prefix + b"Placemark>")
        if not end and self.walker.is_in_track:
            return
        if not end and len(self.rest) >= self.block_bytes:
            # Once the parser has seen where in it the block begins, the rest may go quicker.
            end = find_last_tag(self.rest[:_PEEK_BYTES]) or find_last_tag(self.rest)
        if not end:
            return
        data, self.rest = self.rest[:end], self.rest[end:]
        yield from self.read_block(data)

    def read_fixes(self, root: _Element) -> Iterator[Packet]:
        """Read what there is of a track that is open."""
        inside = self.rest.find(b"Track>")
        data = self.rest if inside < 0 else self.rest[:inside]
        end = self.walker.fix_runs.find_end(data, root) or (find_last_tag(data) if inside < 0 else 0)
        data, self.rest = self.rest[:end], self.rest[end:]
        yield from self.feed(self.walker.fix_runs.cut(data, root, self.layout.context))

    @property
    def prefix(self) -> bytes:
        root = self.walker.root
        return f"{root.prefix}:".encode() if root is not None and root.prefix else b""

    def read_block(self, data: bytes) -> Iterator[Packet]:
        plain = None if self.walker.is_in_track else make_plain(data)
        scan = scan_records(plain.data, self.layout) if plain is not None else None
        if plain is None or scan is None or STREAMS in scan.columns:
            yield from self.feed(data)
            return
        yield from self.feed(self.cut_runs(plain, scan))

    @property
    def layout(self) -> Layout:
        context = self.find_context(self.walker.root)
        if context not in self.layouts:
            record = self.prefix + b"Placemark"
            closing = b"</" + self.prefix + b"kml>"
            self.layouts[context] = Layout([record], [record], take_placemark, (context, closing))
        return self.layouts[context]

    def find_context(self, element: _Element | None) -> bytes:
        """Return a start tag that declares the namespaces that hold within an element."""
        declared = dict(element.nsmap) if element is not None else {}
        texts = [
            f' xmlns{":" + prefix if prefix else ""}="{escape_attribute(str(uri))}"'
            for prefix, uri in sorted(declared.items(), key=lambda item: item[0] or "")
            if prefix != "xml"
        ]
        return b"<" + self.prefix + b"kml" + "".join(texts).encode() + b">"

    def cut_runs(self, plain: Plain, scan: Scan) -> bytes:
        """Return the block with a stand-in for each run of placemarks, and keep the runs until their turn."""
        starts = (~scan.joined).nonzero()[0].tolist()
        ordered = self.order_columns(plain, scan)
        pieces, position = [], 0
        for first, after in itertools.pairwise([*starts, len(scan.start)]):
            begin, end = int(scan.start[first]), int(scan.stop[after - 1])
            self.run_count += 1
            key = str(self.run_count)
            columns = {name: cells.slice(first, after - first) for name, cells in ordered.items()}
            self.runs[key] = _Run(
                plain.data, slice(begin, end), columns, after - first, plain.has_marks, self.layout.context[0]
            )
            pieces += [plain.data[position:begin], f'<Placemark {self.run_mark}="{key}"/>'.encode()]
            position = end
        pieces.append(plain.data[position:])
        return as_entities(b"".join(pieces)) if plain.has_marks else b"".join(pieces)

    def order_columns(self, plain: Plain, scan: Scan) -> dict[str, TextCells]:
        """Return the columns in the order in which the file first names them, whatever shapes its records have."""
        first_row = {key: _first_valid(cells) for key, cells in scan.columns.items()}
        ordered: dict[str, TextCells] = {}
        for row in sorted(set(first_row.values())):
            context, closing = self.layout.context
            data = plain.data[int(scan.start[row]) : int(scan.stop[row])]
            record = parse_fragment(context + (as_entities(data) if plain.has_marks else data) + closing)[0]
            ordered |= {key: scan.columns[key] for key in take_placemark(record) if first_row.get(key) == row}
        return ordered

    def take_run(self, stand_in: _Element, container: Container) -> bool:
        """Take the run that a stand-in is for; tell whether it was one."""
        key = stand_in.get(self.run_mark)
        if key is None:
            return False
        run = self.runs.pop(key)
        parent = stand_in.getparent()
        context = self.find_context(parent)
        if context != run.context:
            self.take_in_context(run, context)
            return True
        columns = {
            name: restore_marks(cells) if run.has_marks else cells
            for name, cells in run.columns.items()
            if cells.null_count < len(cells)
        }
        self.gatherer.add_columns(columns, run.length, container)
        return True

    def take_in_context(self, run: _Run, context: bytes) -> None:
        """Parse placemarks again whose container declares other namespaces than the root."""
        nested = SafeParser(tags=["{*}Placemark"])
        data = as_entities(run.block[run.span]) if run.has_marks else run.block[run.span]
        pieces = (context, data, b"</" + self.prefix + b"kml>")
        for piece in pieces:
            for kind, element in nested.feed(piece):
                if kind == "end":
                    self.walker.take_again(element)

    def feed(self, data: bytes) -> Iterator[Packet]:
        for start in range(0, len(data), _FEED_BYTES):
            for event in self.parser.feed(data[start : start + _FEED_BYTES]):
                self.walker.follow(event)
                if self.gatherer.count >= self.options.batch_rows:
                    yield self.take_packet()

    def close(self) -> Iterator[Packet]:
        for event in self.parser.close():
            self.walker.follow(event)
        if self.walker.root is None:
            raise NotThisFormatError("there is no element kml in it")
        yield self.take_packet()

    def take_packet(self) -> Packet:
        batch = self.gatherer.take()
        packet = self.features.read(batch) if batch is not None else Packet()
        return packet.replace(problems=(*packet.problems, *self.teller.take()))

    def finish(self) -> Packet:
        packet = self.features.finish()
        missing = [layer for layer in self.options.layers if layer not in self.features.layers]
        if missing:
            known = ", ".join(repr(layer) for layer in sorted(self.features.all_layers)) or "none"
            raise OptionError(
                f"there is no layer {missing[0]!r}", field="--layer", remedy=f"Layers in the file: {known}."
            )
        return packet.replace(problems=(*packet.problems, *self.teller.take()))


def _first_valid(cells: TextCells) -> int:
    return int(find_valid(cells).argmax()) if cells.null_count else 0
