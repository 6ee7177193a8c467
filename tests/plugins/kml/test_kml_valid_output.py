from __future__ import annotations

import json
import subprocess
import sys
import tempfile
from pathlib import Path

import fastkml
import pytest
from hypothesis import given, settings
from lxml import etree

from exchange.model import Packet
from exchange.testing.strategies import packets
from tests.plugins.kml.kit import check_document, document_of, lxml_schema, point, wrap, write_file
from tests.plugins.kml.rules import broken_rules
from tests.samples import SAMPLES

_PYOGRIO = """
import json, sys, warnings
warnings.simplefilter("ignore")
import pyogrio
counts = {}
for name, kind in pyogrio.list_layers(sys.argv[1]).tolist():
    _, table = pyogrio.read_arrow(sys.argv[1], layer=name)
    counts[name] = [table.num_rows, table.to_pylist()[0].get("id") if table.num_rows else None]
print(json.dumps(counts))
"""


@pytest.mark.parametrize("suffix", [".kml", ".kmz"])
@pytest.mark.parametrize("name", SAMPLES)
def test_every_sample_is_valid(name: str, suffix: str, tmp_path: Path) -> None:
    """Output is valid by the official schema (OGC 07-147r2 and kml22gx in fastkml) and the rules of OGC 14-068r2."""
    path = tmp_path / f"sample{suffix}"
    write_file(SAMPLES[name], path)
    check_document(document_of(path))


@settings(max_examples=25, deadline=None)
@given(packet=packets())
def test_any_packet_is_valid(packet: Packet) -> None:
    """Whatever the model holds, the output is valid."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "any.kml"
        write_file(packet, path)
        check_document(document_of(path))


@pytest.mark.parametrize("text", ["-120, 40", "40 N,-120", "1e1,2", "NaN,1", "40,-12.5,1,2", "10,120"])
def test_rules_are_checked_at_all(text: str) -> None:
    """The checker refuses what the schema lets pass: blanks in tuples, degrees with letters."""
    data = wrap(point(text)).encode()
    lxml_schema().assertValid(etree.fromstring(data))
    assert any("ATC-1" in rule for rule in broken_rules(etree.fromstring(data)))


def read_with_fastkml(path: Path) -> fastkml.KML:
    return fastkml.KML.from_string(document_of(path).decode().partition("?>")[2])


def test_fastkml_reads_the_same_points(tmp_path: Path) -> None:
    """An independent reader (fastkml) finds every placemark with its name and position."""
    path = tmp_path / "sample.kml"
    packet = SAMPLES["every column of a detection"]
    write_file(packet, path)
    document = read_with_fastkml(path).features[0]
    placemarks = {p.name: p for folder in document.features for inner in folder.features for p in inner.features}
    for row in packet.detections:
        found = placemarks[row.id].geometry
        assert (found.x, found.y, found.z) == (row.longitude, row.latitude, row.altitude)


def test_fastkml_reads_the_same_times_and_rings(tmp_path: Path) -> None:
    """Fastkml finds each fix of a track with its time, and a perimeter with its island."""
    path = tmp_path / "sample.kml"
    write_file(SAMPLES["every column of a track"], path)
    folder = read_with_fastkml(path).features[0].features[0]
    tracks = folder.features[0].kml_geometry.tracks
    assert [len(track.track_items) for track in tracks] == [2, 2]
    assert tracks[1].track_items[0].when.dt.isoformat() == "2026-08-14T19:03:07+00:00"
    write_file(SAMPLES["every field of a perimeter"], path)
    folder = read_with_fastkml(path).features[0].features[0]
    assert len(list(folder.features[0].geometry.interiors)) == 1


def test_pyogrio_reads_as_many_rows(tmp_path: Path) -> None:
    """A general reader (pyogrio over GDAL, in a process of its own) finds every row and its fields."""
    path = tmp_path / "sample.kml"
    write_file(SAMPLES["every status"], path)
    run = subprocess.run([sys.executable, "-c", _PYOGRIO, path], capture_output=True, text=True, check=True)  # noqa: S603
    counts = json.loads(run.stdout)
    assert sum(rows for rows, _ in counts.values()) == len(SAMPLES["every status"].detections)


def test_no_exponent_and_no_nan_anywhere_in_coordinates(tmp_path: Path) -> None:
    """Tiny numbers are written out, and what has no position has no coordinates."""
    path = tmp_path / "sample.kml"
    for name in ("tiny and exact numbers", "a point without position"):
        write_file(SAMPLES[name], path)
        texts = [e.text or "" for e in etree.fromstring(document_of(path)).iter("{*}coordinates", "{*}coord")]
        assert not any("e" in text.lower() or "n" in text.lower() for text in texts)


def test_no_address_of_the_network_stands_in_the_output(tmp_path: Path) -> None:
    """Whoever opens the file needs no network: every icon is inside, or there is none."""
    for suffix in (".kml", ".kmz"):
        path = tmp_path / f"sample{suffix}"
        write_file(SAMPLES["some of everything"], path)
        root = etree.fromstring(document_of(path))
        assert not any("//" in (href.text or "") for href in root.iter("{*}href"))
