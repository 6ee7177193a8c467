"""Markers that are no hotspot: drop points, helispots, water sources."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from exchange.model import table
from exchange.model.columns import NumberColumn, TextColumn, TimeColumn
from exchange.model.points import PointTable
from exchange.model.row import Row


class Place(Row):
    """One row of ``Places``."""

    __slots__ = ()


@dataclass(frozen=True, eq=False, repr=False, kw_only=True)
class Places(PointTable):
    """Hold named places, one row each.

    Attributes
    ----------
    name
        What it is called.
    kind
        What it is in plain words (``drop point``, ``helispot``), or empty.
    longitude, latitude
        WGS 84, degrees.
    altitude
        Above mean sea level, metres.
    time
        When it was marked, UTC.
    symbol
        The symbol's name as it came.
    note
        Free text.
    """

    row_type: ClassVar[type[Row]] = Place

    name: TextColumn = table.text()
    kind: TextColumn = table.text()
    longitude: NumberColumn = table.number()
    latitude: NumberColumn = table.number()
    altitude: NumberColumn = table.number()
    time: TimeColumn = table.instant()
    symbol: TextColumn = table.text()
    note: TextColumn = table.text()
