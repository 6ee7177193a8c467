"""The format ``gpx``."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import ClassVar

from exchange.formats.format import Format, InputFile
from exchange.formats.holds import EVERYTHING, Held, Holds
from exchange.formats.options import ReadOptions, WriteOptions
from exchange.model import Packet, Problem

_ROOT = re.compile(rb"<(?:[\w.-]+:)?gpx[\s>/]")
_BYTE_ORDER_MARKS = (b"\xef\xbb\xbf", b"\xff\xfe", b"\xfe\xff")


class GpxFormat(Format):
    """GPX 1.0 and 1.1, with the whole model in extensions of the house's own namespace."""

    name: ClassVar[str] = "gpx"
    title: ClassVar[str] = "GPX 1.0 and 1.1, tracks and waypoints"
    suffixes: ClassVar[tuple[str, ...]] = (".gpx",)
    media_type: ClassVar[str] = "application/gpx+xml"
    holds: ClassVar[Holds] = Holds(
        tracks=Held(needs_position=True),
        perimeters=EVERYTHING,
        detections=EVERYTHING,
        notes=EVERYTHING,
        places=EVERYTHING,
        attachments=True,
    )

    def recognise(self, head: bytes) -> bool:
        """Tell whether a file begins like GPX."""
        # A 16-bit encoding shows as NUL bytes between the letters.
        plain = head.replace(b"\0", b"")
        for mark in _BYTE_ORDER_MARKS:
            plain = plain.removeprefix(mark)
        return plain.lstrip().startswith(b"<") and bool(_ROOT.search(plain))

    def read(self, file: InputFile, options: ReadOptions) -> Iterator[Packet]:
        """Read a file batch by batch; raises as ``read_gpx``."""
        from exchange_gpx.reading import read_gpx

        return read_gpx(file, options)

    def write(self, packet: Packet, target: Path, options: WriteOptions) -> Sequence[Problem]:
        """Write a packet; raises as ``write_gpx``."""
        from exchange_gpx.writing import write_gpx

        return write_gpx(packet, target, options)
