"""Read a GPX file batch by batch: waypoints, routes and tracks, the house's own and strangers'."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

import numpy as np

from exchange.errors import MalformedError, NotThisFormatError, OptionError
from exchange.formats.format import InputFile
from exchange.formats.options import ReadOptions
from exchange.formats.properties import PACKET_FIELDS
from exchange.formats.xml.stream import BLOCK_BYTES, Run, stream_records
from exchange.model import Packet, Perimeter, Problem, Sources, Table, Track
from exchange_gpx.columns import PointBuffer, PointColumns
from exchange_gpx.document import read_document, read_incident
from exchange_gpx.foreign import read_points
from exchange_gpx.names import LAYERS, NAMESPACES, OWN, POINTS, local_name
from exchange_gpx.own import AT, MARK, NATIVE, read_own_table
from exchange_gpx.take import COLUMN, take_element
from exchange_gpx.tracks import OpenTrack
from exchange_gpx.weave import Weave

if TYPE_CHECKING:
    from lxml.etree import _Element

_TAGS = [f"{{*}}{name}" for name in ("gpx", "metadata", "trk", "rte", "trkseg", *POINTS)]


def read_gpx(
    file: InputFile, options: ReadOptions, *, careful: bool = False, block_bytes: int = BLOCK_BYTES
) -> Iterator[Packet]:
    """Read a GPX file batch by batch.

    Parameters
    ----------
    file
        What to read.
    options
        What it does not say of itself.
    careful
        Whether to let every point through the parser, which is slower and gives the same.
    block_bytes
        About how much to scan at a time.

    Raises
    ------
    NotThisFormatError
        When it is XML, but not GPX.
    OptionError
        When a layer asked for is not there.
    UnsafeInputError, MalformedError
        As ``stream_records``; or when a record that the house wrote cannot be read.
    """
    reading = _Reading(file.name, options)
    with file.open() as stream:
        events = stream_records(
            stream,
            records=POINTS,
            variable=(*POINTS, "link"),
            take=take_element,
            tags=[*_TAGS, f"{{{OWN}}}row"],
            encoding=options.encoding,
            careful=careful,
            block_bytes=block_bytes,
        )
        for kind, what in events:
            if isinstance(what, Run):
                reading.take_run(what)
            elif kind == "start":
                reading.open(what)
            else:
                reading.end(what)
            yield from reading.give_full()
    yield from reading.give_rest()


class _Reading:
    """A file while it is being read."""

    def __init__(self, file: str, options: ReadOptions) -> None:
        self.file, self.options = file, options
        self.points = PointBuffer()
        self.rows = PointBuffer()
        self.given = 0
        self.counts = {"trk": 0, "rte": 0}
        self.track: OpenTrack | None = None
        self.tracks: list[Track] = []
        self.perimeters: list[Perimeter] = []
        self.fixes = 0
        self.track_count = 0
        self.held_tracks: list[tuple[int, Track]] = []
        self.weaves: dict[str, Weave[Any]] = {}
        self.problems: list[Problem] = []
        self.lost_points = 0
        self.layers: set[str] = set()
        self.root: _Element | None = None
        self.dropped: _Element | None = None
        self.incident = ""
        self.attachments: dict[str, bytes] = {}

    # What the stream tells

    def open(self, element: _Element) -> None:
        name = local_name(element.tag)
        if self.root is None:
            self.open_root(element, name)
        elif name in self.counts:
            self.counts[name] += 1
            self.track = OpenTrack(element, name, self.counts[name], self.file)
        elif name == "trkseg" and self.track is not None:
            self.track.segment += 1

    def open_root(self, element: _Element, name: str) -> None:
        if name != "gpx" or element.getparent() is not None:
            raise NotThisFormatError(
                f"it is XML, but its root element is {name!r}, not 'gpx'", remedy="State what it is with --from NAME."
            )
        self.root = element
        self.problems += _tell_root(element, self.file)

    def take_run(self, run: Run) -> None:
        count = run.rows.stop - run.rows.start
        buffer = self.find_buffer(run.name, count)
        if buffer is not None:
            buffer.add_run(run)

    def end(self, element: _Element) -> None:
        name = local_name(element.tag)
        if name in POINTS:
            buffer = self.find_buffer(name, 1)
            if buffer is not None:
                buffer.add(take_element(element))
            self.drop(element)
        elif name == "row":
            self.rows.add(take_element(element))
            self.drop(element)
        elif name == "trkseg" and self.track is not None:
            self.track.end_segment(element)
        elif name in self.counts and self.track is not None:
            self.end_track(self.track)
            self.drop(element)
        elif name == "metadata":
            self.incident = read_incident(element)
            self.prepare_weaves()
        elif name == "gpx":
            self.end_root(element)

    def find_buffer(self, name: str, count: int) -> PointBuffer | None:
        """Return where points of one name go; ``None`` when they are not wanted or stand where none may."""
        layer = LAYERS["wpt"] if name == "wpt" else LAYERS[self.track.kind] if self.track else ""
        if not layer:
            self.lost_points += count
            return None
        self.layers.add(layer)
        if self.options.layers and layer not in self.options.layers:
            return None
        if name == "wpt":
            return self.points
        assert self.track is not None  # noqa: S101  # it gave the layer
        self.track.add_rows(count)
        return self.track.buffer

    def drop(self, element: _Element) -> None:
        """Free an element that has been read, and take the one freed before it out of the tree."""
        parent = None if self.dropped is None else self.dropped.getparent()
        if parent is not None and self.dropped is not None:
            parent.remove(self.dropped)
        element.clear(keep_tail=True)  # type: ignore[call-arg]  # missing in lxml-stubs
        self.dropped = element

    def end_root(self, element: _Element) -> None:
        self.prepare_weaves()
        incident, attachments = read_document(element)
        self.incident = self.incident or incident
        self.attachments = attachments
        if self.lost_points:
            message = "points stand outside of any track or route and were not taken"
            self.problems.append(Problem(message=message, path=self.file, count=self.lost_points))

    # Tracks and routes

    def end_track(self, track: OpenTrack) -> None:
        self.track = None
        self.layers.add(LAYERS[track.kind])
        if self.options.layers and LAYERS[track.kind] not in self.options.layers:
            return
        if not track.is_begun and track.is_own_perimeter:
            self.perimeters.append(track.build_perimeter())
            self.fixes += 1
            return
        was_begun = track.is_begun
        if track.buffer.length or not was_begun:
            self.give_piece(track)
        self.problems += track.find_late_fields() if was_begun else []

    def give_piece(self, track: OpenTrack) -> None:
        is_first = not track.is_begun
        place = track.place if is_first else None
        piece, problems = track.build_piece(self.options)
        self.problems += problems
        if place is not None and track.kind == "rte":
            self.held_tracks.append((place, piece))
            return
        if is_first:
            self.give_held_tracks(up_to=self.track_count)
            self.track_count += 1
        self.tracks.append(piece)
        self.fixes += len(piece)

    def give_held_tracks(self, *, up_to: float) -> None:
        while self.held_tracks and self.held_tracks[0][0] <= max(up_to, self.track_count):
            self.tracks.append(self.held_tracks.pop(0)[1])
            self.track_count += 1

    # Batches

    def give_full(self) -> Iterator[Packet]:
        """Give what fills a batch."""
        most = self.options.batch_rows
        if self.points.length >= most:
            yield self.build_points()
        if self.track is not None and self.track.buffer.length >= most and not self.track.is_own_perimeter:
            self.give_piece(self.track)
        if self.fixes >= most:
            yield self.build_tracks()

    def give_rest(self) -> Iterator[Packet]:
        """Give what is left at the end of the file."""
        if self.root is None:
            raise NotThisFormatError("it is XML, but not GPX", remedy="State what it is with --from NAME.")
        self.refuse_missing_layer()
        if self.points.length:
            yield self.build_points()
        self.give_held_tracks(up_to=float("inf"))
        yield self.build_tracks()
        rest = {PACKET_FIELDS[kind]: weave.rest() for kind, weave in self.weaves.items()}
        yield Packet(incident=self.incident, attachments=self.attachments, **rest)

    def refuse_missing_layer(self) -> None:
        missing = [layer for layer in self.options.layers if layer not in self.layers]
        if missing:
            known = ", ".join(repr(layer) for layer in sorted(self.layers)) or "none"
            raise OptionError(
                f"there is no layer {missing[0]!r}", field="--layer", remedy=f"Layers in the file: {known}."
            )

    def build_tracks(self) -> Packet:
        packet = Packet(
            incident=self.incident,
            tracks=tuple(self.tracks),
            perimeters=tuple(self.perimeters),
            problems=tuple(self.problems),
        )
        self.tracks, self.perimeters, self.problems, self.fixes = [], [], [], 0
        return packet

    def build_points(self) -> Packet:
        points = self.points.take_all()
        source = Sources.of(self.file, LAYERS["wpt"], np.arange(self.given + 1, self.given + 1 + points.length))
        self.given += points.length
        packets = []
        for kind, rows in _group_by_kind(points):
            chosen, origin = (points, source) if rows is None else (points.take(rows), source.take(rows))
            if kind in NATIVE:
                table: Any = self.weave(kind, _read_own(kind, chosen, origin))
                packets.append(Packet(**{PACKET_FIELDS[kind]: table}))
            else:
                packets.append(read_points(chosen, source=origin, options=self.options))
        packet = Packet.join(packets).replace(incident=self.incident)
        problems, self.problems = self.problems, []
        return packet.replace(problems=(*problems, *packet.problems))

    # Rows without a place on the map, which stand before all others

    def prepare_weaves(self) -> None:
        self.layers |= {LAYERS["wpt"]} if self.rows.length else set()
        if not self.rows.length or (self.options.layers and LAYERS["wpt"] not in self.options.layers):
            return
        rows = self.rows.take_all()
        source = Sources.of(self.file, "rows", np.arange(1, rows.length + 1))
        for kind, chosen in _group_by_kind(rows):
            if kind not in NATIVE:
                raise MalformedError(f"a row of the kind {kind!r} is unknown", path=self.file, layer="rows")
            points, origin = (rows, source) if chosen is None else (rows.take(chosen), source.take(chosen))
            table = read_own_table(NATIVE[kind][0], points, {}, source=origin)
            places = points.numbers(COLUMN + AT).values
            self.weaves[kind] = Weave(table, np.nan_to_num(places, nan=2.0**53).astype(np.int64))

    def weave(self, kind: str, table: Table) -> Table:
        return self.weaves[kind].add(table) if kind in self.weaves else table


def _read_own(kind: str, points: PointColumns, source: Sources) -> Table:
    table, native = NATIVE[kind]
    return read_own_table(table, points, native, source=source)


def _group_by_kind(points: PointColumns) -> list[tuple[str, Any]]:
    """Return the rows of each kind that the house marked; those of strangers have the empty kind."""
    key = COLUMN + MARK
    if key not in points:
        return [("", None)]
    marks = points.texts(key)
    kinds = dict.fromkeys(mark if mark in NATIVE else "" for mark in dict.fromkeys(marks.tolist()))
    if len(kinds) == 1:
        return [(next(iter(kinds)), None)]
    known = np.isin(marks.astype(str), list(NATIVE))
    return [(kind, np.flatnonzero(marks == kind if kind else ~known)) for kind in kinds]


def _tell_root(root: _Element, file: str) -> list[Problem]:
    """Tell what the root element lacks or has wrong."""
    version = root.get("version")
    namespace = str(root.tag).rpartition("}")[0].lstrip("{")
    told = []
    if version not in NAMESPACES:
        said = f"states the version {version!r}" if version else "states no version"
        told.append(f"the file {said}; it is read as GPX all the same")
    if namespace not in NAMESPACES.values():
        said = f"has the namespace {namespace!r}, which is not GPX's" if namespace else "has no namespace"
        told.append(f"the root element {said}; it is read as GPX all the same")
    return [Problem(message=message, severity="note", path=file) for message in told]
