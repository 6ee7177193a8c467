"""The two formats, and how each is recognised; everything heavy waits until it is needed."""

from __future__ import annotations

import codecs
import re
from collections.abc import Iterator, Sequence
from pathlib import Path

from exchange.formats.format import Format, InputFile
from exchange.formats.holds import EVERYTHING, Holds
from exchange.formats.options import ReadOptions, WriteOptions
from exchange.model import Packet, Problem

WHOLE_MODEL = Holds(
    tracks=EVERYTHING, perimeters=EVERYTHING, detections=EVERYTHING, notes=EVERYTHING, places=EVERYTHING
)
_TYPE = re.compile(
    r'"type"\s*:\s*"(FeatureCollection|Feature|GeometryCollection|(Multi)?(Point|LineString|Polygon))"|"features"\s*:\s*\['
)
_RECORD_SEPARATOR = "\x1e"


class GeoJson(Format):
    """One GeoJSON object a file: a collection of features, a feature or a bare geometry."""

    name = "geojson"
    title = "GeoJSON (RFC 7946)"
    suffixes = (".geojson", ".json")
    media_type = "application/geo+json"
    holds = WHOLE_MODEL

    def recognise(self, head: bytes) -> bool:
        """Tell whether the head is the beginning of one GeoJSON object."""
        text = _decode_head(head)
        return text.startswith("{") and bool(_TYPE.search(text)) and not _has_lines_of_objects(text)

    def read(self, file: InputFile, options: ReadOptions) -> Iterator[Packet]:
        """Read the file batch by batch."""
        from exchange_geojson.reading import read_collection

        return read_collection(file, options)

    def write(self, packet: Packet, target: Path, options: WriteOptions) -> Sequence[Problem]:
        """Write everything as one collection of features."""
        from exchange_geojson.writing import write_collection

        return write_collection(packet, target, options)


class GeoJsonSequence(Format):
    """One GeoJSON object after the other, each behind a record separator; one a line is read too."""

    name = "geojson-seq"
    title = "GeoJSON text sequence (RFC 8142)"
    suffixes = (".geojsons", ".geojsonl")
    media_type = "application/geo+json-seq"
    holds = WHOLE_MODEL

    def recognise(self, head: bytes) -> bool:
        """Tell whether the head is the beginning of several GeoJSON objects."""
        text = _decode_head(head)
        if text.startswith(_RECORD_SEPARATOR):
            return bool(_TYPE.search(text))
        first = text.partition("\n")
        is_one_long_line = not first[1] and '"FeatureCollection"' not in text
        return text.startswith("{") and bool(_TYPE.search(text)) and (is_one_long_line or _has_lines_of_objects(text))

    def read(self, file: InputFile, options: ReadOptions) -> Iterator[Packet]:
        """Read the file batch by batch."""
        from exchange_geojson.reading import read_sequence

        return read_sequence(file, options)

    def write(self, packet: Packet, target: Path, options: WriteOptions) -> Sequence[Problem]:
        """Write everything as one feature after the other."""
        from exchange_geojson.writing import write_sequence

        return write_sequence(packet, target, options)


def _decode_head(head: bytes) -> str:
    wide = head.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE))
    return head.decode("utf-16" if wide else "utf-8-sig", errors="replace").lstrip(" \t\r\n")


def _has_lines_of_objects(text: str) -> bool:
    """Tell whether the first line is a whole object and the next begins one."""
    first, _, rest = text.partition("\n")
    return first.rstrip().endswith("}") and rest.lstrip("\r\n \t").startswith("{")
