"""What the tests of the KML plugin share: hosts, the official schema, and short ways to read and write."""

from __future__ import annotations

import io
import zipfile
from functools import cache, partial
from pathlib import Path
from typing import Any

import fastkml
from lxml import etree

import exchange_kml
from exchange.formats.format import InputFile
from exchange.formats.host import Candidate, Host
from exchange.formats.options import ReadOptions, WriteOptions
from exchange.formats.positions import settle_positions
from exchange.formats.reading import read
from exchange.formats.writing import write
from exchange.model import Packet, Problem
from exchange_kml import reading
from tests.plugins.kml.rules import broken_rules

FIXTURES = Path(__file__).resolve().parents[3] / "fixtures" / "kml"
# The schemas of OGC KML 2.2 and of its extensions as the data files of the fastkml package.
SCHEMA = Path(fastkml.__file__).parent / "schema" / "ogckml22.xsd"
KML = "http://www.opengis.net/kml/2.2"
GX = "http://www.google.com/kml/ext/2.2"


@cache
def host() -> Host:
    return Host.with_plugins([Candidate("kml", "hotspot-exchange", "0", module=exchange_kml)])


def wrap(body: str, *, namespace: str = KML, head: str = "") -> str:
    """Return a document around features."""
    return f'<kml xmlns="{namespace}" xmlns:gx="{GX}"><Document>{head}{body}</Document></kml>'


def point(text: str = "-114.2,44.5", inner: str = "", mode: str = "") -> str:
    """Return a placemark of one point."""
    altitude_mode = f"<altitudeMode>{mode}</altitudeMode>" if mode else ""
    return f"<Placemark>{inner}<Point>{altitude_mode}<coordinates>{text}</coordinates></Point></Placemark>"


def read_file(path: Path, **options: Any) -> Packet:
    return read(path, host=host(), options=ReadOptions(**options))


def read_text(folder: Path, text: str | bytes, **options: Any) -> Packet:
    path = folder / "given.kml"
    path.write_bytes(text.encode() if isinstance(text, str) else text)
    return read(path, host=host(), options=ReadOptions(**options), format_name="kml")


def read_both_ways(data: bytes, *, block_bytes: int = 4096, **options: Any) -> tuple[Packet, Packet]:
    """Return what the scanner and what the parser alone make of a document."""
    return _read_way(data, options, block_bytes=block_bytes), _read_way(data, options, careful=True)


def _read_way(data: bytes, options: dict[str, Any], **way: Any) -> Packet:

    packets = reading.read_document(partial(io.BytesIO, data), "given.kml", ReadOptions(**options), **way)
    return Packet.join(map(settle_positions, packets))


def input_file(path: Path) -> InputFile:
    return InputFile(path, path.name)


def write_file(packet: Packet, path: Path, *, title: str = "") -> tuple[Problem, ...]:
    return write(packet, path, host=host(), options=WriteOptions(title=title), overwrite=True)


def document_of(path: Path) -> bytes:
    """Return the bytes of the KML document a file is or holds."""
    if path.suffix == ".kml":
        return path.read_bytes()
    with zipfile.ZipFile(path) as archive:
        return archive.read("doc.kml")


@cache
def lxml_schema() -> etree.XMLSchema:
    return etree.XMLSchema(etree.parse(SCHEMA))


@cache
def strict_schema() -> Any:
    import xmlschema

    return xmlschema.XMLSchema(str(SCHEMA))


def check_document(data: bytes) -> None:
    """Check a document against the official schema, in two validators, and against the rules a schema cannot say."""
    root = etree.fromstring(data)
    lxml_schema().assertValid(root)
    strict_schema().validate(io.BytesIO(data))
    assert broken_rules(root) == []


def messages(packet: Packet, severity: str = "") -> list[str]:
    return [problem.message for problem in packet.problems if not severity or problem.severity == severity]
