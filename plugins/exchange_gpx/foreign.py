"""Points of a stranger's file: their texts read, and handed through the door for foreign columns."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from exchange.formats.arrow_columns import to_texts
from exchange.formats.foreign import read_foreign_fixes, read_foreign_points
from exchange.formats.options import ReadOptions
from exchange.formats.positions import POSITION_TEXT
from exchange.formats.text_columns import join_rows
from exchange.formats.time_text import parse_zone
from exchange.model import Packet, Places, Problem, Sources, Track
from exchange.model.columns import ForeignColumn, NumberColumn, TextColumn
from exchange_gpx.columns import PointColumns
from exchange_gpx.names import LINK_PARTS, list_point_texts
from exchange_gpx.take import EXTENSIONS, LEAF

# What the standard says that this element is, in the word of the model.
_MEANINGS = {"desc": "note"}
# Elements of GPX that are no column of the model, whatever their names suggest.
_OTHERS = frozenset({*list_point_texts("1.0", "trkpt"), *LINK_PARTS, EXTENSIONS}) - {"name", "desc", "type"}
_READ_HERE = ("@lat", "@lon", "ele", "time")


@dataclass
class _Foreign:
    """A batch of foreign points with what is read of it here."""

    points: PointColumns
    source: Sources
    options: ReadOptions
    meanings: Mapping[str, str] = field(default_factory=dict)
    columns: dict[str, ForeignColumn] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)
    left: dict[str, ForeignColumn] = field(default_factory=dict)

    def read(self) -> tuple[NumberColumn, NumberColumn, NumberColumn]:
        """Read position, height and time; return longitude, latitude and altitude."""
        longitude, latitude = self.points.numbers("@lon"), self.points.numbers("@lat")
        bad = np.union1d(longitude.unreadable, latitude.unreadable)
        self.tell_positions(bad)
        altitude = self.points.numbers("ele")
        self.leave("altitude_text", "ele", altitude.unreadable, "the elevation is no number")
        self.read_times()
        self.collect_columns()
        return _without(longitude.values, bad), _without(latitude.values, bad), altitude.values

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
        for key in self.points.cells:
            name = key.removeprefix(LEAF)
            if key in _READ_HERE or key not in self.points or (key.startswith(LEAF) and name in self.points.cells):
                continue
            meaning = name if self.is_mapped(name) else self.meanings.get(name, name)
            self.columns.setdefault(meaning, self.points.texts(key))

    def is_mapped(self, name: str) -> bool:
        """Tell whether an option says what a column means."""
        return self.options.columns is not None and name in self.options.columns.columns

    def choose_problems(self, problems: Iterable[Problem]) -> tuple[Problem, ...]:
        """Return all problems, without those that suggest a meaning for an element whose meaning GPX defines."""
        told = [p for p in problems if p.severity != "note" or not self.is_defined(p.field)]
        return (*self.problems, *told)

    def is_defined(self, name: str) -> bool:
        return ("#" in name or name in _OTHERS) and not self.is_mapped(name)

    def tell_positions(self, bad: NDArray[np.int64]) -> None:
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
            Problem.at(
                place,
                message,
                severity=severity,
                remedy=remedy,
                field=name,
                value=str(texts[int(rows[0])]),
                count=len(rows),
            )
        )


def _without(values: NumberColumn, rows: NDArray[np.int64]) -> NumberColumn:
    """Return a column with the values of some rows missing."""
    if not len(rows):
        return values
    values = values.copy()
    values[rows] = np.nan
    return values


def read_points(points: PointColumns, *, source: Sources, options: ReadOptions) -> Packet:
    """Return the detections and places that foreign waypoints are."""
    batch = _Foreign(points, source, options, meanings=_MEANINGS)
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
    return packet.replace(places=_take_symbols(packet.places), problems=batch.choose_problems(packet.problems))


def _take_symbols(places: Places) -> Places:
    """Return places with the symbols that only they have a column for."""
    if "sym" not in places.extra or (places.symbol != "").any():
        return places
    extra = {name: column for name, column in places.extra.items() if name != "sym"}
    return places.replace(symbol=places.extra["sym"], extra=extra)


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
    track, problems = read_foreign_fixes(
        batch.columns | batch.left,
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
    return track, list(batch.choose_problems(problems))


def _join_words(points: PointColumns) -> TextColumn | None:
    """Return the texts that tell what a waypoint is: its symbol and its type."""
    told = [points.cells[key] for key in ("sym", "type") if key in points]
    return to_texts(join_rows([*told[:1], " / ", *told[1:]])) if told else None
