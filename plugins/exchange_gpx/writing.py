"""Write a packet as GPX: the head, waypoints, routes, perimeters and tracks, extensions, in the schema's order."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, BinaryIO

import numpy as np

from exchange.errors import OptionError
from exchange.formats.options import WriteOptions
from exchange.formats.properties import PACKET_FIELDS, flatten_perimeter
from exchange.formats.text_columns import TextCells, format_numbers, join_rows, slices, to_cells, wrap_cells, write_rows
from exchange.model import Packet, Perimeter, PointTable, Problem, Table, Track
from exchange.model.columns import to_foreign_column
from exchange_gpx.cells import Cells, add_declared, add_extra, escape, format_escaped
from exchange_gpx.head import Head, make_head
from exchange_gpx.lawful import find_lawful
from exchange_gpx.names import GROUP_TEXTS, NAMESPACES, NEWEST, OWN, list_point_texts
from exchange_gpx.own import AT, FIX_NATIVE, LABEL, LABELS, MARK, NATIVE
from exchange_gpx.rings import BINARY, GEOMETRY, RINGS, list_rings
from exchange_gpx.tracks import FORM, ROUTE, SEGMENT_EXTENSIONS

_CREATOR = "hotspot-exchange"


def write_gpx(packet: Packet, target: Path, options: WriteOptions) -> list[Problem]:
    """Write a packet and return what could not be kept.

    Raises
    ------
    OptionError
        When the version of GPX asked for is unknown.
    OSError
        When the file cannot be written.
    """
    version = options.version or NEWEST
    if version not in NAMESPACES:
        raise OptionError(
            f"GPX has no version {version!r}", field="version", remedy=f"Give one of {', '.join(sorted(NAMESPACES))}."
        )
    with target.open("wb") as stream:
        writer = _Writer(stream, version, options.with_extensions)
        writer.write(packet, options.title)
    return writer.problems


@dataclass
class _Writer:
    """A GPX file while it is being written."""

    stream: BinaryIO
    version: str
    with_extensions: bool = True
    problems: list[Problem] = field(default_factory=list)

    def write(self, packet: Packet, title: str) -> None:
        self.put('<?xml version="1.0" encoding="UTF-8"?>\n')
        self.put(f'<gpx xmlns="{NAMESPACES[self.version]}" version="{self.version}" creator="{_CREATOR}"')
        self.put(f' xmlns:x="{OWN}">\n')
        tables: dict[str, Any] = {kind: getattr(packet, name) for kind, name in PACKET_FIELDS.items()}
        head = make_head(packet.attachments, title=title, incident=packet.incident, version=self.version)
        self.write_head(head, unplaced=any(not _is_placed(table).all() for table in tables.values()), tables=tables)
        for kind, table in tables.items():
            self.write_table(kind, table.take(_is_placed(table)))
        self.write_tracks(packet.tracks, packet.perimeters)
        self.write_end(head, tables)

    def put(self, text: str) -> None:
        self.stream.write(text.encode())

    # The file itself

    def write_head(self, head: Head, *, unplaced: bool, tables: Mapping[str, Any]) -> None:
        if self.version == "1.0":
            self.put("".join(head.fields))
            return
        inner = [*head.metadata_extensions, *head.own]
        if head.fields or inner or unplaced:
            self.put(f"<metadata>{''.join(head.fields)}")
            if inner or unplaced:
                self.put(f"<extensions>{''.join(inner)}")
                self.write_unplaced(tables)
                self.put("</extensions>")
            self.put("</metadata>\n")

    def write_end(self, head: Head, tables: Mapping[str, Any]) -> None:
        if self.version == "1.0":
            of_metadata = "".join(head.metadata_extensions)
            wrapped = f"<x:metadata>{of_metadata}</x:metadata>" if of_metadata else ""
            self.put("".join([*head.own, *head.extensions, wrapped]))
            self.write_unplaced(tables)
            self.tell_reordered(tables)
        elif head.extensions:
            self.put(f"<extensions>{''.join(head.extensions)}</extensions>\n")
        self.put("</gpx>\n")

    def tell_reordered(self, tables: Mapping[str, Any]) -> None:
        for kind, table in tables.items():
            placed = _is_placed(table)
            moved = int((~placed[: len(placed) - np.argmax(placed[::-1])]).sum()) if placed.any() else 0
            if moved:
                message = f"in GPX 1.0 rows without a position stand behind the others: {PACKET_FIELDS[kind]}"
                self.problems.append(Problem(message=message, severity="changed", count=moved))

    # Waypoints

    def write_table(self, kind: str, table: PointTable) -> None:
        native = NATIVE[kind][1]
        texts = tuple(text for text in list_point_texts(self.version, "wpt") if text not in native)
        for rows in slices(len(table)):
            part = table.take(rows)
            cells = Cells()
            if self.with_extensions:
                cells.own.append(f"<x:{MARK}>{kind}</x:{MARK}>")
            add_declared(cells, part, native)
            _add_label(cells, part, kind)
            add_extra(cells, part.extra, texts, self.version)
            if not self.with_extensions:
                self.leave_out_extensions(cells, len(part))
            write_rows(self.stream, self.join_points("wpt", part, cells, always=self.with_extensions))

    def leave_out_extensions(self, cells: Cells, rows: int) -> None:
        if cells.own or cells.foreign is not None:
            message = "without extensions GPX has no place for all columns of the points"
            self.problems.append(Problem(message=message, count=rows))
        cells.own, cells.foreign = [], None

    def write_unplaced(self, tables: Mapping[str, Any]) -> None:
        for kind, table in tables.items():
            where = np.flatnonzero(~_is_placed(table))
            for rows in slices(len(where)):
                part = table.take(where[rows])
                cells = Cells()
                cells.own.append(f"<x:row><x:{MARK}>{kind}</x:{MARK}>")
                cells.add_own(AT, format_escaped(where[rows]))
                for name in ("longitude", "latitude"):
                    cells.add_own(name, format_numbers(getattr(part, name)))
                add_declared(cells, part, {})
                add_extra(cells, part.extra, (), self.version)
                foreign = [] if cells.foreign is None else [cells.foreign]
                write_rows(self.stream, join_rows([*cells.own, *foreign, "</x:row>\n"]))

    def join_points(self, point: str, table: PointTable, cells: Cells, *, always: bool) -> TextCells:
        """Return the whole elements of some points."""
        self.tell_kept_as_text(cells)
        longitude = table.longitude
        shown = self.show_longitude(longitude)
        if shown is not longitude and self.with_extensions:
            cells.add_own("longitude", format_numbers(np.where(shown == longitude, np.nan, longitude)))
        order = ("ele", "time", *list_point_texts(self.version, point))
        natives = [cells.native[element] for element in order if element in cells.native]
        start: list[TextCells | str] = [
            f'<{point} lat="',
            format_numbers(table.latitude),
            '" lon="',
            format_numbers(shown),
            '">',
        ]
        return join_rows([*start, *natives, *cells.extensions(self.version, always=always), f"</{point}>\n"])

    def tell_kept_as_text(self, cells: Cells) -> None:
        if cells.kept_as_text:
            message = "extensions that no valid GPX can hold as elements are kept as text"
            self.problems.append(Problem(message=message, severity="note", count=cells.kept_as_text))

    def show_longitude(self, longitude: Any) -> Any:
        """Return the longitudes as GPX may hold them: in 1.1 below 180 degrees."""
        beyond = (longitude >= 180) if self.version == "1.1" else (longitude > 180)
        beyond = beyond | (longitude < -180)
        return np.where(beyond, (longitude + 180) % 360 - 180, longitude) if beyond.any() else longitude

    # Tracks, routes and perimeters

    def write_tracks(self, tracks: Sequence[Track], perimeters: Sequence[Perimeter]) -> None:
        routes = [place for place, track in enumerate(tracks) if track.properties.get(FORM) == ROUTE]
        for turn, place in enumerate(routes):
            self.write_route(tracks[place], at=None if turn == place else place)
        for perimeter in perimeters:
            self.write_perimeter(perimeter)
        for place, track in enumerate(tracks):
            if place not in routes:
                self.write_track(track)

    def write_track(self, track: Track) -> None:
        track = self.drop_impossible(track)
        runs = track.segment_rows()
        numbers = [int(track.segment[run.start]) for run in runs]
        own = [] if numbers == list(range(len(runs))) else [("segments", " ".join(map(str, numbers)))]
        beside, properties = self.take_segment_extensions(track.properties, {str(number) for number in numbers})
        self.put(f"<trk>{self.describe_track(track, properties, own)}\n")
        for number, run in zip(numbers, runs, strict=True):
            self.put("<trkseg>\n")
            self.write_fixes("trkpt", track, run)
            self.put(f"{beside.get(str(number), '')}</trkseg>\n")
        self.put("</trk>\n")

    def write_route(self, track: Track, *, at: int | None) -> None:
        track = self.drop_impossible(track)
        properties = {name: value for name, value in track.properties.items() if name != FORM}
        own = [] if at is None else [(AT, str(at))]
        if len(track) and track.segment.any():
            counts = [f"{track.segment[run.start]}x{run.stop - run.start}" for run in track.segment_rows()]
            own.append(("segments", " ".join(counts)))
        self.put(f"<rte>{self.describe_track(track, properties, own)}\n")
        self.write_fixes("rtept", track, slice(0, len(track)))
        self.put("</rte>\n")

    def write_fixes(self, point: str, track: Track, run: slice) -> None:
        for rows in slices(run.stop - run.start):
            part = track.take(slice(run.start + rows.start, run.start + rows.stop))
            cells = Cells()
            add_declared(cells, part, FIX_NATIVE)
            add_extra(cells, part.extra, list_point_texts(self.version, point), self.version)
            write_rows(self.stream, self.join_points(point, part, cells, always=False))

    def drop_impossible(self, track: Track) -> Track:
        """Leave out the fixes that are not on the earth, which GPX cannot hold, and tell it."""
        possible = np.abs(track.latitude) <= 90
        possible &= np.isfinite(track.longitude)
        if possible.all():
            return track
        message = "GPX has no place for a fix that is not on the earth"
        self.problems.append(Problem(message=message, field="position", count=int((~possible).sum())))
        return track.take(possible)

    def take_segment_extensions(
        self, properties: Mapping[str, Any], numbers: set[str]
    ) -> tuple[dict[str, str], dict[str, Any]]:
        """Return what segments say of themselves by number, where it can stand there, and the other properties."""
        kept = properties.get(SEGMENT_EXTENSIONS)
        can_stand = self.version == "1.1" and isinstance(kept, Mapping) and set(kept) <= numbers and _are_lawful(kept)
        if not can_stand or not isinstance(kept, Mapping):
            return {}, dict(properties)
        rest = {name: value for name, value in properties.items() if name != SEGMENT_EXTENSIONS}
        return {number: f"<extensions>{text}</extensions>" for number, text in kept.items()}, rest

    def describe_track(self, track: Track, properties: Mapping[str, Any], own: Sequence[tuple[str, str]]) -> str:
        fields = [(name, getattr(track, name)) for name in ("sortie", "aircraft", "height_reference")]
        return self.describe_group("track", track.name, properties, [*((n, v) for n, v in fields if v), *own])

    def describe_group(
        self, kind: str, name: str, properties: Mapping[str, Any], own: Sequence[tuple[str, str]]
    ) -> str:
        """Return what stands in a track or a route before its points."""
        cells = Cells()
        cells.own.append(f"<x:{MARK}>{kind}</x:{MARK}>")
        cells.own += [f"<x:{key}>{escape(value)}</x:{key}>" for key, value in own]
        texts = GROUP_TEXTS[self.version]
        columns = {key: _to_column(value) for key, value in properties.items()}
        add_extra(cells, columns, tuple(text for text in texts if text != "name"), self.version)
        self.tell_kept_as_text(cells)
        natives = [f"<name>{escape(name)}</name>"] if name else []
        natives += [cells.native[text] for text in texts if text in cells.native]
        extensions = cells.extensions(self.version, always=True)
        (text,) = join_rows([to_cells([""]), *natives, *extensions]).to_pylist()
        return str(text)

    def write_perimeter(self, perimeter: Perimeter) -> None:
        rings = list_rings(perimeter.geometry)
        points = _collect_points([ring for _, ring in rings])
        own = [(GEOMETRY, perimeter.geometry.geom_type)]
        if _is_on_earth(points):
            own.append((RINGS, " ".join(role for role, _ in rings)))
        else:
            own.append((BINARY, perimeter.geometry.wkb_hex))
            points = Track()
            message = "the perimeter has vertices that are not on the earth: other programs will see no line of it"
            self.problems.append(Problem(message=message, severity="note"))
        properties = {key: value for key, value in flatten_perimeter(perimeter).items() if key != "name"}
        self.put(f"<trk>{self.describe_group('perimeter', perimeter.name, properties, own)}\n")
        for run in points.segment_rows():
            self.put("<trkseg>\n")
            self.write_fixes("trkpt", points, run)
            self.put("</trkseg>\n")
        self.put("</trk>\n")


def _is_placed(table: Table) -> Any:
    """Return which rows GPX can hold as points."""
    longitude, latitude = table.longitude, table.latitude  # type: ignore[attr-defined]
    with np.errstate(invalid="ignore"):
        return (np.abs(latitude) <= 90) & (np.abs(longitude) <= 180)


def _is_on_earth(points: Track) -> bool:
    return bool(_is_placed(points).all())


def _add_label(cells: Cells, table: Table, kind: str) -> None:
    """Show rows without a name by their number; the label keeps the two apart."""
    column = LABELS.get(kind)
    if column is None:
        return
    named = getattr(table, "name", np.full(len(table), "", dtype=object)) != ""
    label = np.where(named, "", getattr(table, column))
    if (label != "").any():
        shown = format_escaped(label.astype(object))
        tagged = wrap_cells("<name>", shown, "</name>")
        given = cells.native.get("name")
        cells.native["name"] = tagged if given is None else join_rows([given, tagged])
        cells.add_own(LABEL, shown)


def _to_column(value: Any) -> Any:
    column = np.empty(1, dtype=object)
    column[0] = value
    return to_foreign_column(column)


def _are_lawful(texts: Mapping[Any, Any]) -> bool:
    return bool(texts) and all(isinstance(t, str) and bool(find_lawful(to_cells([t]))[0]) for t in texts.values())


def _collect_points(rings: Sequence[Any]) -> Track:
    """Return the vertices of rings as one track, a segment for each ring."""
    if not rings:
        return Track()
    arrays = [np.asarray(ring.coords) for ring in rings]
    counts = [len(array) for array in arrays]
    whole = np.concatenate(arrays)
    altitude = whole[:, 2] if whole.shape[1] > 2 else np.full(len(whole), np.nan)
    segment = np.repeat(np.arange(len(rings)), counts)
    return Track(longitude=whole[:, 0], latitude=whole[:, 1], altitude=altitude, segment=segment)
