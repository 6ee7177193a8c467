"""The options of reading and writing, the same for every format; a format uses those that concern it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from exchange.formats.columns.mapping import ColumnMapping


@dataclass(frozen=True, kw_only=True)
class ReadOptions:
    """State what a file does not say of itself.

    Attributes
    ----------
    assume_timezone
        Zone of times that carry none (``--assume-tz``): an IANA name, ``UTC`` or an offset like ``-07:00``.
    sortie, aircraft
        What to enter where the file names none (``--sortie``, ``--aircraft``).
    columns
        What each foreign column means (``--columns FILE``).
    units
        Unit by model column where the file states none (``--unit temperature=F``).
    position_form
        How coordinates are written (``--coordinates``): ``dd``, ``ddm``, ``dms``, ``utm``, ``usng``, ``mgrs``, ``wkt``.
    position_order
        ``lat-lon`` or ``lon-lat`` where one text holds both (``--order``).
    longitude_column, latitude_column, position_column
        Which columns hold the place (``--longitude-column`` and so on).
    utm_zone
        Zone with hemisphere, such as ``11N``, where a UTM table states none (``--utm-zone``).
    crs
        Coordinate reference system where the file states none (``--crs EPSG:26911``).
    encoding, separator, decimal_mark
        How a text table is written (``--encoding``, ``--separator``, ``--decimal``).
    points_as
        What markers are: ``detections``, ``places``, or empty to go by what the file says of them.
    rows_as_track
        Whether the rows of a table of points are the fixes of a track (``--as-track``).
    layers
        Which layers to read (``--layer``); empty is all.
    batch_rows
        About how many rows a reader hands out at a time.
    """

    assume_timezone: str = ""
    sortie: str = ""
    aircraft: str = ""
    columns: ColumnMapping | None = None
    units: Mapping[str, str] = field(default_factory=dict)
    position_form: str = ""
    position_order: str = ""
    longitude_column: str = ""
    latitude_column: str = ""
    position_column: str = ""
    utm_zone: str = ""
    crs: str = ""
    encoding: str = ""
    separator: str = ""
    decimal_mark: str = ""
    points_as: str = ""
    rows_as_track: bool = False
    layers: tuple[str, ...] = ()
    batch_rows: int = 65_536


@dataclass(frozen=True, kw_only=True)
class WriteOptions:
    """State how a file is to be written.

    Attributes
    ----------
    title
        Title of the document, where the format has one; empty takes the incident's name.
    version
        Version of the format, such as ``1.0`` for GPX; empty is the newest the plugin writes.
    separator, decimal_mark
        How a text table is written.
    with_extensions
        Whether what the elements of GPX cannot say stands beside them in extensions; else it is left out and told.
    """

    title: str = ""
    version: str = ""
    separator: str = ""
    decimal_mark: str = ""
    with_extensions: bool = True
