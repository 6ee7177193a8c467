"""A flown track: one fix a row."""

from __future__ import annotations

import itertools
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, ClassVar

import numpy as np

from exchange.model import table
from exchange.model.columns import NumberColumn, TimeColumn, WholeColumn
from exchange.model.points import PointTable
from exchange.model.row import Row


class Fix(Row):
    """One row of a ``Track``."""

    __slots__ = ()


@dataclass(frozen=True, eq=False, repr=False, kw_only=True)
class Track(PointTable):
    """Hold the fixes of one flight, or a line drawn without times.

    Attributes
    ----------
    name, sortie, aircraft
        Text, one for the track.
    number
        Which track of its layer it is, counted from 1; 0 is unknown. Pieces of one long track that a reader
        hands out batch by batch carry the same file, layer and number.
    height_reference
        What ``height`` is measured from: ``ground``, ``take-off`` or empty for unknown.
    longitude, latitude
        WGS 84, degrees.
    altitude
        Above mean sea level, metres.
    height
        Above ``height_reference``, metres.
    time
        UTC.
    heading
        Of the aircraft's nose, degrees clockwise from true north.
    camera_heading, camera_pitch
        Of the line of sight: degrees clockwise from true north; degrees above the horizon, so -90 is straight down.
    segment
        Which unbroken piece a fix belongs to, counted from 0.
    properties
        Foreign fields of the whole track, typed as they came.
    """

    row_type: ClassVar[type[Row]] = Fix

    name: str = ""
    sortie: str = ""
    aircraft: str = ""
    number: int = 0
    height_reference: str = ""
    longitude: NumberColumn = table.number()
    latitude: NumberColumn = table.number()
    altitude: NumberColumn = table.number()
    height: NumberColumn = table.number()
    time: TimeColumn = table.instant()
    heading: NumberColumn = table.number()
    camera_heading: NumberColumn = table.number()
    camera_pitch: NumberColumn = table.number()
    segment: WholeColumn = table.whole()
    properties: Mapping[str, Any] = field(default_factory=dict)

    def is_continued_by(self, other: Track) -> bool:
        """Tell whether ``other`` is the next piece of the same track of the same file."""
        if not self.number or not len(self) or not len(other):
            return False
        last, first = self.source[len(self) - 1], other.source[0]
        return (last.file, last.layer, self.number) == (first.file, first.layer, other.number)

    def differences(self, other: table.Table) -> list[str]:
        """Tell in words where two tracks differ; ``source`` and ``number`` do not count."""
        if not isinstance(other, Track):
            return super().differences(other)
        names = ("name", "sortie", "aircraft", "height_reference", "properties")
        found = [
            f"{name}: {getattr(self, name)!r} is not {getattr(other, name)!r}"
            for name in names
            if getattr(self, name) != getattr(other, name)
        ]
        return found + super().differences(other)

    @property
    def __geo_interface__(self) -> dict[str, Any]:
        """The track as one GeoJSON-like feature: a line, or a multi-line where it has several segments."""
        lines = [
            list(zip(self.longitude[rows].tolist(), self.latitude[rows].tolist(), strict=True))
            for rows in self.segment_rows()
        ]
        one = len(lines) == 1
        geometry = {
            "type": "LineString" if one else "MultiLineString",
            "coordinates": lines[0] if one else lines,
        }
        scalars = {"name": self.name, "sortie": self.sortie, "aircraft": self.aircraft}
        properties = {**self.properties, **{name: value for name, value in scalars.items() if value}}
        return {"type": "Feature", "geometry": geometry, "properties": properties}

    def segment_rows(self) -> list[slice]:
        """Return the runs of fixes with one segment number, as slices in order."""
        if not len(self):
            return []
        cuts = [0, *(np.flatnonzero(np.diff(self.segment)) + 1).tolist(), len(self)]
        return [slice(start, end) for start, end in itertools.pairwise(cuts)]
