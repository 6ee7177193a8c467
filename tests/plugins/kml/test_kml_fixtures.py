from __future__ import annotations

import json
import subprocess
import sys
import tempfile
from pathlib import Path

import pytest

from exchange.errors import ExchangeError, MalformedError, NotThisFormatError, UnknownFormatError, UnsafeInputError
from exchange.model import Packet
from tests.plugins.kml.kit import FIXTURES, check_document, document_of, read_both_ways, read_file, write_file

VALID = sorted((FIXTURES / "valid").iterdir())
REFUSED: dict[str, tuple[type[ExchangeError], str]] = {
    "doctype.kml": (UnsafeInputError, "DOCTYPE"),
    "doctype_external.kml": (UnsafeInputError, "DOCTYPE"),
    "nested_5000_deep.kml": (UnsafeInputError, "nested too deeply"),
    "truncated.kml": (MalformedError, r"line \d+"),
    "truncated_between_placemarks.kml": (MalformedError, r"line \d+"),
    "undeclared_prefix.kml": (MalformedError, "prefix x on more is not defined"),
    "unknown_entity.kml": (MalformedError, "nbsp"),
    "control_character.kml": (MalformedError, r"line \d+"),
    "not_utf_8.kml": (MalformedError, r"UTF-8|encod"),
    "other_namespace.kml": (NotThisFormatError, "urn:example:other"),
    "html_named_kml.kml": (NotThisFormatError, "does not hold it"),
    "own_number_damaged.kml": (MalformedError, "field temperature: 'warm' is no number"),
    "name_that_leads_out.kmz": (UnsafeInputError, "leads out of it"),
    "no_kml_inside.kmz": (NotThisFormatError, "holds no KML"),
    "truncated.kmz": (MalformedError, "no whole archive"),
    "encrypted.kmz": (MalformedError, "encrypted"),
    "zip_bomb.kmz": (UnsafeInputError, "would unpack from"),
}
_PYOGRIO = """
import json, sys, warnings
warnings.simplefilter("ignore")
import pyogrio
counts = {}
for path in sys.argv[1:]:
    try:
        layers = [name for name, _ in pyogrio.list_layers(path).tolist()]
        counts[path] = sum(pyogrio.read_arrow(path, layer=name)[1].num_rows for name in layers)
    except Exception:
        counts[path] = 0
print(json.dumps(counts))
"""


@pytest.mark.parametrize("path", VALID, ids=lambda path: path.name)
def test_valid_files_read(path: Path) -> None:
    """Every valid file reads, goes out valid, and comes back the same."""
    packet = read_file(path)
    with tempfile.TemporaryDirectory() as folder:
        again = Path(folder) / "again.kmz"
        write_file(packet, again)
        check_document(document_of(again))
        assert read_file(again) == packet


@pytest.mark.parametrize("path", [path for path in VALID if path.suffix == ".kml"], ids=lambda path: path.name)
def test_both_ways_read_the_same(path: Path) -> None:
    """The scanner and the parser agree on every valid file, whatever the size of the blocks."""
    for block_bytes in (100, 4096):
        fast, careful = read_both_ways(path.read_bytes(), block_bytes=block_bytes)
        assert fast.differences(careful) == []
        assert fast.problems == careful.problems


@pytest.mark.parametrize("name", REFUSED)
def test_invalid_files_are_refused(name: str) -> None:
    """Every invalid file is refused with its own error, and the error names the file."""
    error, told = REFUSED[name]
    with pytest.raises(error, match=told) as caught:
        read_file(FIXTURES / "invalid" / name)
    assert caught.value.path == str(FIXTURES / "invalid" / name)


def test_every_invalid_file_has_its_error() -> None:
    """A file added to the folder needs an entry in the table."""
    assert {path.name for path in (FIXTURES / "invalid").iterdir()} == set(REFUSED)


def test_every_file_is_described() -> None:
    """The folder's README names every file."""
    text = (FIXTURES / "README.md").read_text()
    names = [
        f"{path.parent.name}/{path.name}" for folder in ("valid", "invalid") for path in (FIXTURES / folder).iterdir()
    ]
    assert [name for name in names if name not in text] == []


def count(packet: Packet) -> int:
    return len(packet.detections) + len(packet.places) + len(packet.tracks) + len(packet.perimeters)


def test_at_least_as_much_is_read_as_a_general_reader_finds() -> None:
    """Whatever pyogrio reads of a valid file, no fewer rows are read here; files without a namespace are not empty."""
    # Overlays and polygons off the earth count as rows there; here they are told and left out.
    told_only = ("links_and_overlays.kml", "rings_open_short_and_off_the_earth.kml")
    paths = [str(path) for path in VALID if path.suffix == ".kml" and path.name not in told_only]
    run = subprocess.run([sys.executable, "-c", _PYOGRIO, *paths], capture_output=True, text=True, check=True)  # noqa: S603
    theirs: dict[str, int] = json.loads(run.stdout)
    ours = {path: count(read_file(Path(path))) for path in paths}
    assert {path: rows for path, rows in theirs.items() if ours[path] < rows} == {}
    assert sum(theirs.values()) > 20
    assert ours[str(FIXTURES / "valid" / "no_namespace.kml")] == 2


def test_unknown_archives_are_told(tmp_path: Path) -> None:
    """An archive of another kind is not taken for a KMZ by its first bytes."""
    path = tmp_path / "a.bin"
    path.write_bytes(b"PK\x03\x04" + bytes(26) + b"a.shp")
    with pytest.raises(UnknownFormatError, match="no loaded format"):
        read_file(path)
