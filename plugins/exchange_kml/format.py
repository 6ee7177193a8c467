"""The two formats, and how each is recognised; everything heavy waits until it is needed."""

from __future__ import annotations

import codecs
import re
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path

from exchange.formats.format import Format, InputFile
from exchange.formats.holds import EVERYTHING, Holds
from exchange.formats.options import ReadOptions, WriteOptions
from exchange.model import Packet, Problem

WHOLE_MODEL = Holds(
    tracks=EVERYTHING, perimeters=EVERYTHING, detections=EVERYTHING, notes=EVERYTHING, places=EVERYTHING
)
_ROOT = re.compile(r"<(?:[A-Za-z_][\w.-]*:)?kml[\s>/]")
_OTHER_ARCHIVES = (b".shp", b".gpkg", b"[Content_Types].xml", b"mimetypeapplication")


class Kml(Format):
    """One KML document a file."""

    name = "kml"
    title = "KML (OGC 12-007r2)"
    suffixes = (".kml",)
    media_type = "application/vnd.google-earth.kml+xml"  # As registered with IANA.
    holds = WHOLE_MODEL
    shown_column = "id"

    def recognise(self, head: bytes) -> bool:
        """Tell whether a root element named ``kml`` begins in the head, in any namespace or none."""
        # In an archive the document's own first bytes may stand unpacked.
        text = _decode_head(head).lstrip()
        return text.startswith("<") and bool(_ROOT.search(text))

    def read(self, file: InputFile, options: ReadOptions) -> Iterator[Packet]:
        """Read the file batch by batch."""
        from exchange_kml.reading import read_document

        return read_document(file.open, file.name, options)

    def write(self, packet: Packet, target: Path, options: WriteOptions) -> Sequence[Problem]:
        """Write everything as one document."""
        from exchange_kml.writing import write_kml

        return write_kml(packet, target, options)


class Kmz(Format):
    """A KML document, its icons and other files in one archive."""

    name = "kmz"
    title = "KMZ: KML and its icons in one archive"
    suffixes = (".kmz",)
    media_type = "application/vnd.google-earth.kmz"  # As registered with IANA.
    holds = replace(WHOLE_MODEL, attachments=True)
    shown_column = "id"

    def recognise(self, head: bytes) -> bool:
        """Tell whether the head is that of an archive that is not plainly of another kind."""
        return head.startswith((b"PK\x03\x04", b"PK\x05\x06")) and not any(mark in head for mark in _OTHER_ARCHIVES)

    def read(self, file: InputFile, options: ReadOptions) -> Iterator[Packet]:
        """Read the main document batch by batch, then the files beside it."""
        from exchange_kml.archive import read_archive

        return read_archive(file, options)

    def write(self, packet: Packet, target: Path, options: WriteOptions) -> Sequence[Problem]:
        """Write everything as one document with the icons it shows."""
        from exchange_kml.archive import write_archive

        return write_archive(packet, target, options)


def _decode_head(head: bytes) -> str:
    if head.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return head.decode("utf-16", errors="replace")
    if b"\0<" in head[:2] or b"<\0" in head[:2]:
        return head.decode("utf-16-le" if head[1:2] == b"\0" else "utf-16-be", errors="replace")
    return head.decode("utf-8-sig", errors="replace")
