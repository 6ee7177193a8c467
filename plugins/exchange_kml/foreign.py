"""Placemarks of strangers: points through the one shared door, lines to tracks, polygons to perimeters."""

from __future__ import annotations

from datetime import datetime
from typing import Any

import numpy as np
from numpy.typing import NDArray

from exchange.formats.arrow_columns import find_valid, no_cells
from exchange.formats.foreign import read_foreign_points
from exchange.formats.options import ReadOptions
from exchange.formats.positions import POSITION_TEXT
from exchange.formats.text_columns import to_cells
from exchange.formats.time_text import parse_time
from exchange.model import Packet, Perimeter, Sources, Track
from exchange.model.columns import ForeignColumn, to_time_column
from exchange.model.problem import Severity
from exchange_kml import altitudes, coordinates, geometry
from exchange_kml.described import PARTIAL_TIME, UNKNOWN_STYLE, Described, describe, drop_suggestions
from exchange_kml.foreign_tracks import read_line_track, read_streamed_track
from exchange_kml.gather import Batch
from exchange_kml.problems import FORWARD_REMEDY, Teller
from exchange_kml.styles import StyleFinder
from exchange_kml.take import GEOMETRY, POINT
from exchange_kml.walker import Walker

NO_GEOMETRY = "a placemark has no place of its own; it is kept without a position"
_NOTES = (*coordinates.NOTES, geometry.HEIGHTS, geometry.SHORT_LINE)
_CHANGES = (*coordinates.CHANGES, geometry.OPEN_RING)


class ForeignReader:
    """Read batches of placemarks that the house did not write; parameters as for ``FeatureReader``."""

    def __init__(
        self, file: str, options: ReadOptions, walker: Walker, teller: Teller, find_style: StyleFinder
    ) -> None:
        self.file, self.options = file, options
        self.walker, self.teller, self.find_style = walker, teller, find_style
        self._track_numbers: dict[str, int] = {}

    def read(self, batch: Batch) -> Packet:
        """Return what a batch holds."""
        self.batch = batch
        self.paths = np.array([container.path() for container in batch.containers], dtype=object)
        described = describe(batch, self.walker.schemas, self.find_style, self.options, self._tell_field)
        self.tracks: list[Track] = []
        self.perimeters: list[Perimeter] = []
        rows, texts, modes = self.read_geometries(described)
        points = self._read_points(described, rows, texts, modes)
        return points.replace(tracks=tuple(self.tracks), perimeters=tuple(self.perimeters))

    def read_geometries(self, described: Described) -> tuple[NDArray[np.int64], Any, Any]:
        """Read every geometry but single points; return the rows that are points, their coordinates and modes.

        A placemark with several points stands there several times.
        """
        length = len(self.batch)
        texts = self.batch.columns.get(POINT, no_cells(length))
        modes = described.columns.get("altitude_mode", "")
        others = self.find_other_rows()
        if not len(others):
            return np.arange(length), texts, modes
        repeats = np.ones(length, dtype=np.int64)
        several: dict[int, list[tuple[str, str]]] = {}
        for row in others.tolist():
            several[row] = self.read_other(row, described)
            repeats[row] = len(several[row])
        rows = np.repeat(np.arange(length), repeats)
        plain_modes = [modes] * length if isinstance(modes, str) else modes.tolist()
        pairs = [
            pair for row, text in enumerate(texts.to_pylist()) for pair in several.get(row, [(text, plain_modes[row])])
        ]
        mode_column = np.array([mode for _, mode in pairs], dtype=object)
        return rows, to_cells([text for text, _ in pairs]), mode_column

    def find_other_rows(self) -> NDArray[np.int64]:
        """Return the rows that are more than a single point."""
        cells = self.batch.columns.get(GEOMETRY)
        rows = set(self.batch.streamed)
        if cells is not None:
            rows.update(np.flatnonzero(find_valid(cells)).tolist())
        return np.array(sorted(rows), dtype=np.int64)

    def read_other(self, row: int, described: Described) -> list[tuple[str, str]]:
        """Read one placemark's lines, tracks and polygons; return its points."""
        cells = self.batch.columns.get(GEOMETRY)
        xml = cells[row].as_py() if cells is not None else None
        read = geometry.read_geometry(xml) if xml else geometry.Geometry()
        fields = described.row(row)
        fields |= {name: text for name, text in _flag_fields(read.flags).items() if name not in fields}
        streamed = self.batch.streamed.get(row)
        for kind in read.skipped:
            self.tell(f"a {kind} holds nothing that can be taken; it is left out", row)
        self._tell_faults(read.faults, row)
        if streamed is not None and streamed.tracks:
            number = self._next_number(row)
            track, told = read_streamed_track(
                streamed.tracks, fields, self._source(row), number, self.options, self.walker
            )
            self._add_track(track, told)
        if read.lines:
            number = self._next_number(row)
            track, told = read_line_track(read.lines, fields, self._source(row), number, self.options)
            self._add_track(track, told)
        if read.polygons:
            self.perimeters.append(self._build_perimeter(read.polygons, fields, row))
        return read.points

    def _add_track(self, track: Track, told: list[Any]) -> None:
        self.tracks.append(track)
        self.teller.problems += told

    def _build_perimeter(self, polygons: list[Any], fields: dict[str, Any], row: int) -> Perimeter:
        from shapely.geometry import MultiPolygon

        shape = polygons[0] if len(polygons) == 1 else MultiPolygon(polygons)
        source = self._source(row)[0]
        moment = self._read_moment(fields.get("time"))
        as_of: Any = None
        if moment is not None:
            as_of = to_time_column(moment, 1)[0]
            fields = {name: value for name, value in fields.items() if name != "time"}
        elif "time" in fields:
            message = "the time of a perimeter is no instant; it is kept as a foreign field"
            remedy = "If it lacks a zone only, state it with --assume-tz."
            self.tell(message, row, value=str(fields["time"]), remedy=remedy)
        name = str(fields.pop("name", ""))
        return Perimeter(
            geometry=shape, name=name, **({} if as_of is None else {"as_of": as_of}), extra=fields, source=source
        )

    def _read_moment(self, value: Any) -> datetime | None:
        """Return a time as an instant; ``None`` where it is none, or carries no zone and none is stated."""
        moment = parse_time(value) if isinstance(value, str) else value
        if moment is None or (moment.tzinfo is None and self.walker.zone is None):
            return None
        aware: datetime = moment if moment.tzinfo else moment.replace(tzinfo=self.walker.zone)
        return aware

    def _read_points(self, described: Described, rows: NDArray[np.int64], texts: Any, modes: Any) -> Packet:
        if not len(rows):
            return Packet()
        read = coordinates.parse_points(texts)
        columns = self._take_rows(described.columns, rows)
        self._tell_point_faults(read, rows, texts)
        heights = altitudes.split_heights(read.altitude, modes)
        if heights.assumed:
            first = int(np.flatnonzero(~np.isnan(heights.altitude))[0])
            self.tell(altitudes.IGNORED, int(rows[first]), severity="note", count=heights.assumed)
        for name, column in (
            (altitudes.HEIGHT_COLUMN, heights.ground),
            (altitudes.SEA_FLOOR_COLUMN, heights.sea_floor),
            (POSITION_TEXT, read.kept_text),
        ):
            if column is not None and (column.dtype.kind == "O" or not np.isnan(column).all()):
                columns[name] = column
        packet = read_foreign_points(
            columns,
            longitude=read.longitude,
            latitude=read.latitude,
            altitude=heights.altitude,
            source=self._sources(rows),
            options=self.options,
            words=self.find_words(described, rows),
        )
        return packet.replace(problems=tuple(drop_suggestions(packet.problems)))

    def _take_rows(self, columns: dict[str, ForeignColumn], rows: NDArray[np.int64]) -> dict[str, ForeignColumn]:
        if len(rows) == len(self.batch) and (rows == np.arange(len(rows))).all():
            return dict(columns)
        return {name: column[rows] for name, column in columns.items()}

    def find_words(self, described: Described, rows: NDArray[np.int64]) -> Any:
        """Return what folder and style say of each row."""
        words = self.paths[self.batch.container[rows]]
        return words if described.style_names is None else words + " " + described.style_names[rows]

    def _sources(self, rows: NDArray[np.int64]) -> Sources:
        places = [(self.file, path) for path in self.paths.tolist()]
        return Sources(places, self.batch.container[rows], self.batch.record[rows])

    def _source(self, row: int) -> Sources:
        return self._sources(np.array([row]))

    def _next_number(self, row: int) -> int:
        layer = self.paths[self.batch.container[row]]
        self._track_numbers[layer] = self._track_numbers.get(layer, 0) + 1
        return self._track_numbers[layer]

    def _tell_point_faults(self, read: coordinates.PointColumns, rows: NDArray[np.int64], texts: Any) -> None:

        for fault, count in read.faults.count.items():
            first, text = read.faults.first[fault]
            self._tell_fault(fault, int(rows[first]), text, count)
        absent = np.flatnonzero(~find_valid(texts))
        if len(absent):
            self.tell(NO_GEOMETRY, int(rows[absent[0]]), severity="note", count=len(absent))

    def _tell_faults(self, faults: coordinates.Faults, row: int) -> None:
        for fault, count in faults.count.items():
            self._tell_fault(fault, row, faults.first[fault][1], count)

    def _tell_fault(self, fault: str, row: int, text: str, count: int) -> None:
        severity: Severity = "note" if fault in _NOTES else "changed" if fault in _CHANGES else "skipped"
        self.tell(
            fault, row, severity=severity, field="coordinates", value=text, count=count,
            remedy="" if severity == "note" else FORWARD_REMEDY,
        )  # fmt: skip

    def _tell_field(self, name: str, message: str, rows: NDArray[np.int64], value: str) -> None:
        is_note = message in (UNKNOWN_STYLE, PARTIAL_TIME.format(name))
        self.tell(
            message, int(rows[0]), severity="note" if is_note else "skipped", field=name, value=value, count=len(rows)
        )

    def tell(self, message: str, row: int, **rest: Any) -> None:
        """Note a problem of one row of the batch."""
        layer = self.batch.containers[self.batch.container[row]].path()
        self.teller.tell(message, layer=layer, record=int(self.batch.record[row]), **rest)


def _flag_fields(flags: dict[str, str]) -> dict[str, str]:
    names = {"altitudeMode": "altitude_mode", "extrude": "extrude", "tessellate": "tessellate"}
    return {names[flag]: text for flag, text in flags.items()}
