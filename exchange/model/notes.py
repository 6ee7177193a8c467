"""What crews report about spots; append only."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from exchange.model import table
from exchange.model.columns import NumberColumn, TextColumn, TimeColumn
from exchange.model.points import PointTable
from exchange.model.row import Row


class StatusNote(Row):
    """One row of ``StatusNotes``."""

    __slots__ = ()


@dataclass(frozen=True, eq=False, repr=False, kw_only=True)
class StatusNotes(PointTable):
    """Hold what was reported, one row a report.

    Attributes
    ----------
    detection
        The number of the spot it speaks of, or the name the reporter used.
    status
        One of ``STATUS_WORDS``, or empty.
    time
        When it was observed, UTC.
    author
        Who reported it.
    text
        Free text.
    temperature
        Degrees Celsius.
    longitude, latitude
        Where the reporter put it, WGS 84, degrees.
    origin
        What it came in, such as a handheld's file.
    """

    row_type: ClassVar[type[Row]] = StatusNote

    detection: TextColumn = table.text()
    status: TextColumn = table.text()
    time: TimeColumn = table.instant()
    author: TextColumn = table.text()
    text: TextColumn = table.text()
    temperature: NumberColumn = table.number()
    longitude: NumberColumn = table.number()
    latitude: NumberColumn = table.number()
    origin: TextColumn = table.text()
