"""The ledger as a format: read and started through the standard library's SQLite only."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import ClassVar

from exchange.formats.format import Format, InputFile
from exchange.formats.holds import EVERYTHING, Holds
from exchange.formats.options import ReadOptions, WriteOptions
from exchange.model import Packet, Problem


class LedgerFormat(Format):
    """The incident's own file, a GeoPackage with the table ``exchange_ledger``."""

    name: ClassVar[str] = "ledger"
    title: ClassVar[str] = "ledger of an incident"
    suffixes: ClassVar[tuple[str, ...]] = (".ledger.gpkg",)
    media_type: ClassVar[str] = "application/geopackage+sqlite3"
    holds: ClassVar[Holds] = Holds(
        tracks=EVERYTHING,
        perimeters=EVERYTHING,
        detections=EVERYTHING,
        notes=EVERYTHING,
        places=EVERYTHING,
        attachments=True,
    )
    is_never_replaced: ClassVar[bool] = True

    def recognise(self, head: bytes) -> bool:
        """Tell what may be one: its first bytes are those of every GeoPackage."""
        return head.startswith(b"SQLite format 3\x00") and head[68:72] == b"GPKG"

    def recognise_file(self, file: InputFile, head: bytes) -> bool:
        """Tell a ledger by its table."""
        from exchange.ledger.database import is_ledger

        return self.recognise(head) and is_ledger(file.path)

    def read(self, file: InputFile, options: ReadOptions) -> Iterator[Packet]:
        """Read the list as it stands, with notes, places, perimeters and tracks; see ``read_ledger``."""
        from exchange.ledger.reading import read_ledger

        return read_ledger(file.path, layers=options.layers)

    def write(self, packet: Packet, target: Path, options: WriteOptions) -> Sequence[Problem]:
        """Start a ledger with everything in it as one source; see ``Format.write``."""
        from exchange.ledger.act import begin_act, start_ledger
        from exchange.ledger.contents import SourceWriter
        from exchange.ledger.database import copy_path
        from exchange.ledger.sources import write_source

        start_ledger(target, incident=packet.incident)
        with begin_act(target, "add") as act:
            source = write_source(act, name=target.name, sha256="", size_bytes=0, reader="", incident=packet.incident)
            writer = SourceWriter(act.connection, source)
            writer.write(packet)
            writer.finish()
        # What is being written is one file; its first act on its own makes the copy.
        copy_path(target).unlink(missing_ok=True)
        return []
