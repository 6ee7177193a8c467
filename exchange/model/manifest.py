"""Which spot goes by which short name on which device, so that what comes back can be put in its place."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from exchange.model import table
from exchange.model.columns import NumberColumn, TextColumn, TimeColumn
from exchange.model.points import PointTable
from exchange.model.row import Row


class ManifestEntry(Row):
    """One row of ``Manifest``."""

    __slots__ = ()


@dataclass(frozen=True, eq=False, repr=False, kw_only=True)
class Manifest(PointTable):
    """Hold the short names that spots were handed out under, one row a spot and profile.

    Within a profile no short name and no number comes twice. ``Manifest.join`` puts several end to end; the last
    hand-out counts where they name one spot differently.

    Attributes
    ----------
    number
        The spot's permanent number (``H-014``), or the foreign identifier of a list that has none.
    short_name
        What the device shows (``H14``); equal to the number where that fits.
    profile
        Name of the profile of limits.
    file
        Name of the handed-out file it is in; empty where the name is only held from an earlier hand-out, so that
        no other spot gets it.
    longitude, latitude
        Where the list had the spot when it was handed out, WGS 84, degrees.
    status
        Its status word then, or empty.
    aliases
        Numbers that were folded into this one, as ``exchange.model.spot_number.split_aliases`` reads them.
    handed_out
        When, UTC.
    comment
        The line of text that travelled with it, so that it is not taken for a report when it comes back unchanged.
    """

    row_type: ClassVar[type[Row]] = ManifestEntry

    number: TextColumn = table.text()
    short_name: TextColumn = table.text()
    profile: TextColumn = table.text()
    file: TextColumn = table.text()
    longitude: NumberColumn = table.number()
    latitude: NumberColumn = table.number()
    status: TextColumn = table.text()
    aliases: TextColumn = table.text()
    handed_out: TimeColumn = table.instant()
    comment: TextColumn = table.text()
