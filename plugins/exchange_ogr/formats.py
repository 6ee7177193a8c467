"""The three GIS formats: how each is recognised, and which layers it can hold."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import ClassVar

from exchange.formats.format import Format, InputFile
from exchange.formats.holds import EVERYTHING, Holds
from exchange.formats.options import ReadOptions, WriteOptions
from exchange.model import Packet, Problem

_SQLITE = b"SQLite format 3\x00"
_GEOPACKAGE_IDS = (b"GPKG", b"GP10", b"GP11")
_APPLICATION_ID = slice(68, 72)
_ALL = Holds(
    tracks=EVERYTHING,
    perimeters=EVERYTHING,
    detections=EVERYTHING,
    notes=EVERYTHING,
    places=EVERYTHING,
    incident=False,
)


class GeoPackage(Format):
    """OGC 12-128: layers in one SQLite file."""

    name: ClassVar[str] = "gpkg"
    title: ClassVar[str] = "GeoPackage"
    suffixes: ClassVar[tuple[str, ...]] = (".gpkg",)
    media_type: ClassVar[str] = "application/geopackage+sqlite3"
    holds: ClassVar[Holds] = _ALL

    def recognise(self, head: bytes) -> bool:
        """Tell a GeoPackage by the application id in SQLite's header (12-128, requirement 2)."""
        return head.startswith(_SQLITE) and head[_APPLICATION_ID] in _GEOPACKAGE_IDS

    def recognise_file(self, file: InputFile, head: bytes) -> bool:
        """Leave a ledger, which is a GeoPackage too, to the ledger's own reader."""
        from exchange.ledger.database import is_ledger

        return self.recognise(head) and not is_ledger(file.path)

    def read(self, file: InputFile, options: ReadOptions) -> Iterator[Packet]:
        """Read every layer; see ``Format.read``."""
        from exchange_ogr.fence import refuse_ledger, refuse_open_database
        from exchange_ogr.reading import read_layers

        refuse_open_database(file)
        refuse_ledger(file)
        return read_layers(file, [str(file.path)], options)

    def write(self, packet: Packet, target: Path, options: WriteOptions) -> Sequence[Problem]:
        """Write one layer for each kind of thing; see ``Format.write``."""
        from exchange_ogr.writing import write_layers

        return write_layers(packet, target, driver="GPKG")


class FlatGeobuf(Format):
    """One layer in one file, made for streaming."""

    name: ClassVar[str] = "flatgeobuf"
    title: ClassVar[str] = "FlatGeobuf"
    suffixes: ClassVar[tuple[str, ...]] = (".fgb",)
    holds: ClassVar[Holds] = _ALL

    def recognise(self, head: bytes) -> bool:
        """Tell it by its magic bytes."""
        return head.startswith(b"fgb\x03fgb")

    def read(self, file: InputFile, options: ReadOptions) -> Iterator[Packet]:
        """Read its layer; see ``Format.read``."""
        from exchange_ogr.fence import refuse_cut_header
        from exchange_ogr.reading import read_layers

        refuse_cut_header(file)

        return read_layers(file, [str(file.path)], options)

    def write(self, packet: Packet, target: Path, options: WriteOptions) -> Sequence[Problem]:
        """Write everything into the one layer; see ``Format.write``."""
        from exchange_ogr.writing import write_one_layer

        return write_one_layer(packet, target, driver="FlatGeobuf")


class Shapefile(Format):
    """Shapefiles: several files that belong together, best zipped."""

    name: ClassVar[str] = "shapefile"
    title: ClassVar[str] = "shapefile, zipped or not"
    suffixes: ClassVar[tuple[str, ...]] = (".shp.zip", ".zip", ".shp")
    media_type: ClassVar[str] = "application/vnd.shp"
    holds: ClassVar[Holds] = _ALL

    def recognise(self, head: bytes) -> bool:
        """Tell a bare shapefile by its file code 9994, a zipped one by a member's name."""
        return head.startswith(b"\x00\x00\x27\x0a") or (head.startswith(b"PK\x03\x04") and b".kml" not in head[:512])

    def read(self, file: InputFile, options: ReadOptions) -> Iterator[Packet]:
        """Read it, or every shapefile in the archive; see ``Format.read``."""
        from exchange_ogr.shapefiles import read_shapefiles

        return read_shapefiles(file, options)

    def write(self, packet: Packet, target: Path, options: WriteOptions) -> Sequence[Problem]:
        """Write one shapefile for each kind of thing, zipped unless the name ends in ``.shp``; see ``Format.write``."""
        from exchange_ogr.shapefiles import write_shapefiles

        return write_shapefiles(packet, target)
