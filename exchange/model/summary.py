"""What is in a file, gathered batch by batch in little memory."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from exchange.model.columns import NumberColumn, TimeColumn
from exchange.model.packet import Packet
from exchange.model.points import PointTable
from exchange.model.problem import Problem, gather_problems
from exchange.model.track import Track

TIMES = ("time", "first_seen", "last_seen")


@dataclass
class Extent:
    """The smallest box around positions; it may lie across the 180th meridian, then west exceeds east.

    The span is kept both in -180..180 and in 0..360, and the narrower of the two is told (RFC 7946, section 5.2).
    """

    south: float = np.inf
    north: float = -np.inf
    around_zero: tuple[float, float] = (np.inf, -np.inf)
    around_180: tuple[float, float] = (np.inf, -np.inf)

    def add(self, longitude: NumberColumn, latitude: NumberColumn) -> None:
        """Take in positions, degrees, shape (n,); missing ones do not count."""
        placed = ~(np.isnan(longitude) | np.isnan(latitude))
        if not placed.any():
            return
        longitude, latitude = longitude[placed], latitude[placed]
        self.south, self.north = min(self.south, latitude.min()), max(self.north, latitude.max())
        self.around_zero = _widen(self.around_zero, longitude)
        self.around_180 = _widen(self.around_180, longitude % 360)

    def as_box(self) -> tuple[float, float, float, float] | None:
        """Return west, south, east, north in degrees, or ``None`` where nothing has a position."""
        if self.south > self.north:
            return None
        west, east = self.around_zero
        if self.around_180[1] - self.around_180[0] < east - west:
            west, east = (value - 360 if value > 180 else value for value in self.around_180)
        return float(west), float(self.south), float(east), float(self.north)

    def middle(self) -> tuple[float, float] | None:
        """Return longitude and latitude of the middle of the box, or ``None``."""
        box = self.as_box()
        if box is None:
            return None
        west, south, east, north = box
        longitude = (west + east + (360 if west > east else 0)) / 2
        return longitude - 360 if longitude > 180 else longitude, (south + north) / 2


def _widen(span: tuple[float, float], values: NumberColumn) -> tuple[float, float]:
    return min(span[0], values.min()), max(span[1], values.max())


@dataclass
class Summary:
    """What was found: how many of what, where, when, by whom, and what is wrong."""

    incident: str = ""
    counts: Counter[str] = field(default_factory=Counter)
    extent: Extent = field(default_factory=Extent)
    first_time: np.datetime64 = field(default_factory=lambda: np.datetime64("NaT", "ms"))
    last_time: np.datetime64 = field(default_factory=lambda: np.datetime64("NaT", "ms"))
    temperature: tuple[float, float] = (np.inf, -np.inf)
    sorties: Counter[str] = field(default_factory=Counter)
    aircraft: Counter[str] = field(default_factory=Counter)
    statuses: Counter[str] = field(default_factory=Counter)
    layers: Counter[str] = field(default_factory=Counter)
    foreign_fields: dict[str, None] = field(default_factory=dict)
    attachments: dict[str, None] = field(default_factory=dict)
    problems: tuple[Problem, ...] = ()
    _last_track: Track | None = None

    def add(self, packet: Packet) -> None:
        """Take in one batch."""
        self.incident = self.incident or packet.incident
        self.attachments |= dict.fromkeys(packet.attachments)
        self.problems = gather_problems((*self.problems, *packet.problems))
        self._count(packet)
        for table in (packet.detections, packet.notes, packet.places, *packet.tracks):
            self._add_table(table)
        self._add_perimeters(packet)
        self._add_names(packet)

    def _count(self, packet: Packet) -> None:
        self.counts.update(packet.counts())
        for track in packet.tracks:
            # A long track comes in pieces; each further piece is not a further track.
            self.counts["tracks"] -= self._last_track is not None and self._last_track.is_continued_by(track)
            self._last_track = track

    def _add_table(self, table: PointTable) -> None:
        self.extent.add(table.longitude, table.latitude)
        self.foreign_fields |= dict.fromkeys(table.extra)
        self.layers.update(_count_layers(table))
        for name in set(TIMES) & set(table.column_names()):
            self._add_times(getattr(table, name))

    def _add_times(self, times: TimeColumn) -> None:
        known = times[~np.isnat(times)]
        if len(known):
            self.first_time = np.fmin(self.first_time, known.min())
            self.last_time = np.fmax(self.last_time, known.max())

    def _add_perimeters(self, packet: Packet) -> None:
        for perimeter in packet.perimeters:
            if not perimeter.geometry.is_empty:
                west, south, east, north = perimeter.geometry.bounds
                self.extent.add(np.array([west, east]), np.array([south, north]))
            self._add_times(np.array([perimeter.as_of]))
            self.foreign_fields |= dict.fromkeys(perimeter.extra)

    def _add_names(self, packet: Packet) -> None:
        detections = packet.detections
        self.sorties.update(_count_names(detections.sortie.tolist()))
        self.aircraft.update(_count_names(detections.aircraft.tolist()))
        self.statuses.update(_count_names(detections.status.tolist()))
        self.sorties.update(_count_names(track.sortie for track in packet.tracks))
        self.aircraft.update(_count_names(track.aircraft for track in packet.tracks))
        warmth = detections.temperature[~np.isnan(detections.temperature)]
        if len(warmth):
            self.temperature = _widen(self.temperature, warmth)

    def as_dict(self) -> dict[str, Any]:
        """Return everything as plain values with stable names, for reports."""
        middle = self.extent.middle()
        return {
            "incident": self.incident,
            "counts": {name: count for name, count in self.counts.items() if count},
            "box": self.extent.as_box(),
            "grid_reference": None if middle is None else name_grid_square(*middle),
            "first_time": _to_text(self.first_time),
            "last_time": _to_text(self.last_time),
            "temperature_celsius": None if self.temperature[0] > self.temperature[1] else list(self.temperature),
            "sorties": dict(self.sorties),
            "aircraft": dict(self.aircraft),
            "statuses": dict(self.statuses),
            "layers": dict(self.layers),
            "foreign_fields": list(self.foreign_fields),
            "attachments": list(self.attachments),
            "problems": [problem.as_dict() for problem in self.problems],
        }


def summarise(packets: Iterable[Packet]) -> Summary:
    """Return the summary of the batches of one file or several."""
    summary = Summary()
    for packet in packets:
        summary.add(packet)
    return summary


def name_grid_square(longitude: float, latitude: float) -> str:
    """Return the USNG reference, to 100 m, of the square that holds a position in degrees."""
    from exchange.geo.coordinates.formatting import nearest_grid_reference

    return nearest_grid_reference(longitude, latitude, precision_m=100)


def _count_names(names: Iterable[str]) -> Counter[str]:
    counted = Counter(names)
    counted.pop("", None)
    return counted


def _count_layers(table: PointTable) -> dict[str, int]:
    counts = np.bincount(table.source.code, minlength=len(table.source.places)).tolist()
    layers: Counter[str] = Counter()
    for (_, layer), count in zip(table.source.places, counts, strict=True):
        layers[layer] += count if layer else 0
    return +layers


def _to_text(time: np.datetime64) -> str | None:
    return None if np.isnat(time) else f"{np.datetime_as_string(time, unit='s')}Z"
