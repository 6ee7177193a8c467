"""Points of a stranger's file: their texts read, and handed through the door for foreign columns."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from exchange.formats.foreign import read_foreign_fixes, read_foreign_points
from exchange.formats.options import ReadOptions
from exchange.formats.positions import POSITION_TEXT
from exchange.formats.time_text import parse_zone
from exchange.model import Packet, Problem, Sources, Track
from exchange.model.columns import ForeignColumn, NumberColumn, TextColumn
from exchange_gpx.columns import PointColumns, ReadNumbers
from exchange_gpx.take import LEAF

# What the standard says these elements are, in the words of the model.
_MEANINGS = {"desc": "note", "sym": "symbol"}
_READ_HERE = ("@lat", "@lon", "ele", "time")


@dataclass
class _Foreign:
    """A batch of foreign points with what is read of it here."""

    points: PointColumns
    source: Sources
    options: ReadOptions
    columns: dict[str, ForeignColumn] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)
    left: dict[str, ForeignColumn] = field(default_factory=dict)

    def read(self) -> tuple[NumberColumn, NumberColumn, NumberColumn]:
        """Read position, height and time; return longitude, latitude and altitude."""
        longitude, latitude = self.points.numbers("@lon"), self.points.numbers("@lat")
        self.tell_positions(longitude, latitude)
        altitude = self.points.numbers("ele")
        self.leave("altitude_text", "ele", altitude.unreadable, "the elevation is no number")
        self.read_times()
        self.collect_columns()
        return longitude.values, latitude.values, altitude.values

    def read_times(self) -> None:
        zone = self.options.assume_timezone
        read = self.points.times("time", zone=parse_zone(zone) if zone else None)
        self.columns["time"] = read.values
        self.leave("time_text", "time", read.unreadable, "the time cannot be read")
        if len(read.without_zone):
            said = f"is read in {zone}, as stated" if zone else "is read as UTC, as the standard of GPX says"
            self.tell(
                read.without_zone,
                f"the time carries no zone; it {said}",
                "time",
                severity="note",
                remedy="" if zone else "If the device wrote local time, state its zone with --assume-tz.",
            )

    def collect_columns(self) -> None:
        mapped = self.options.columns.columns if self.options.columns else {}
        for key in self.points.cells:
            name = key.removeprefix(LEAF)
            if key in _READ_HERE or key not in self.points or (key.startswith(LEAF) and name in self.points.cells):
                continue
            meaning = _MEANINGS.get(name, name) if key == name and name not in mapped else name
            self.columns.setdefault(meaning, self.points.texts(key))

    def tell_positions(self, longitude: ReadNumbers, latitude: ReadNumbers) -> None:
        bad = np.union1d(longitude.unreadable, latitude.unreadable)
        if len(bad):
            texts = np.full(self.points.length, "", dtype=object)
            pairs = self.points.texts("@lat") + " " + self.points.texts("@lon")
            texts[bad] = pairs[bad]
            self.left[POSITION_TEXT] = texts
            self.tell(bad, "the position is no number", "position", of=texts, remedy="Mend it in the file.")

    def leave(self, name: str, key: str, rows: NDArray[np.int64], message: str) -> None:
        """Keep the texts of some rows as a foreign field, and tell it."""
        if len(rows):
            texts = np.full(self.points.length, "", dtype=object)
            texts[rows] = self.points.texts(key)[rows]
            self.left[name] = texts
            self.tell(rows, f"{message}; kept in {name}", key, remedy="Mend it in the file.", of=texts)

    def tell(
        self,
        rows: NDArray[np.int64],
        message: str,
        name: str,
        *,
        severity: Any = "skipped",
        remedy: str = "",
        of: TextColumn | None = None,
    ) -> None:
        place = self.source[int(rows[0])]
        texts = self.points.texts(name) if of is None else of
        self.problems.append(
            Problem(
                message=message,
                severity=severity,
                remedy=remedy,
                path=place.file,
                layer=place.layer,
                record=place.record,
                field=name,
                value=str(texts[int(rows[0])]),
                count=len(rows),
            )
        )


def read_points(points: PointColumns, *, source: Sources, options: ReadOptions) -> Packet:
    """Return the detections and places that foreign waypoints are."""
    batch = _Foreign(points, source, options)
    longitude, latitude, altitude = batch.read()
    packet = read_foreign_points(
        batch.columns | batch.left,
        longitude=longitude,
        latitude=latitude,
        altitude=altitude,
        source=source,
        options=options,
        words=_join_words(points),
    )
    # A detection has no column for a symbol: it goes by GPX's own name again.
    extra = {("sym" if name == "symbol" else name): column for name, column in packet.detections.extra.items()}
    return packet.replace(
        detections=packet.detections.replace(extra=extra), problems=(*batch.problems, *packet.problems)
    )


def read_fixes(
    points: PointColumns,
    *,
    source: Sources,
    options: ReadOptions,
    properties: Mapping[str, Any],
    name: str,
    number: int,
    segment: NDArray[np.int64],
) -> tuple[Track, list[Problem]]:
    """Return the track, or the piece of one, that foreign track points are."""
    batch = _Foreign(points, source, options)
    longitude, latitude, altitude = batch.read()
    named_again = {meaning: key for key, meaning in _MEANINGS.items()}
    columns = {named_again.get(key, key): column for key, column in batch.columns.items()}
    track, problems = read_foreign_fixes(
        columns | batch.left,
        longitude=longitude,
        latitude=latitude,
        altitude=altitude,
        source=source,
        options=options,
        properties=properties,
        name=name,
        number=number,
        segment=segment,
    )
    return track, [*batch.problems, *problems]


def _join_words(points: PointColumns) -> TextColumn | None:
    """Return the texts that tell what a waypoint is: its symbol and its type."""
    import pyarrow.compute as pc

    told = [pc.fill_null(points.cells[key], "") for key in ("sym", "type") if key in points]
    if not told:
        return None
    joined = told[0] if len(told) == 1 else pc.binary_join_element_wise(*told, " / ")
    return np.array(joined.to_pylist(), dtype=object)
