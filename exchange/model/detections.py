"""Hotspots: as one sortie saw them, or as the numbered list that several sorties make."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from exchange.model import table
from exchange.model.columns import NumberColumn, TextColumn, TimeColumn
from exchange.model.points import PointTable
from exchange.model.row import Row


class Detection(Row):
    """One row of ``Detections``."""

    __slots__ = ()


@dataclass(frozen=True, eq=False, repr=False, kw_only=True)
class Detections(PointTable):
    """Hold hotspots, one row a spot or a sighting of it.

    Attributes
    ----------
    id
        The permanent number (``H-014``) or the foreign identifier.
    longitude, latitude
        WGS 84, degrees.
    altitude
        Above mean sea level, metres.
    time
        When it was seen, UTC.
    temperature
        Degrees Celsius.
    area
        Square metres.
    accuracy
        Radius in metres that holds the true place 95 times in 100.
    confidence
        From 0 to 1.
    sortie, aircraft
        Which flight and which aircraft saw it.
    status
        One of ``STATUS_WORDS``, or empty.
    first_seen, last_seen
        UTC.
    sightings
        How many sightings the spot was made of; NaN where unknown.
    name, note
        Free text.
    """

    row_type: ClassVar[type[Row]] = Detection

    id: TextColumn = table.text()
    longitude: NumberColumn = table.number()
    latitude: NumberColumn = table.number()
    altitude: NumberColumn = table.number()
    time: TimeColumn = table.instant()
    temperature: NumberColumn = table.number()
    area: NumberColumn = table.number()
    accuracy: NumberColumn = table.number()
    confidence: NumberColumn = table.number()
    sortie: TextColumn = table.text()
    aircraft: TextColumn = table.text()
    status: TextColumn = table.text()
    first_seen: TimeColumn = table.instant()
    last_seen: TimeColumn = table.instant()
    sightings: NumberColumn = table.number()
    name: TextColumn = table.text()
    note: TextColumn = table.text()
