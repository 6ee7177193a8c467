from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

from exchange.errors import NotThisFormatError, OptionError, WriteError
from exchange.formats.host import OWN_DISTRIBUTION, Host
from exchange.formats.reading import as_input, choose_format, read
from exchange.formats.writing import write
from exchange.ledger.check import check_ledger
from exchange.model import Packet
from exchange_ledger.format import LedgerFormat
from exchange_ogr.formats import FlatGeobuf, GeoPackage
from tests.ledger.ledger_kit import make_incident, seen

HOST = Host.with_formats([GeoPackage(), LedgerFormat(), FlatGeobuf()], distribution=OWN_DISTRIBUTION)


@pytest.fixture(scope="module")
def ledger(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Make the incident once."""
    path = tmp_path_factory.mktemp("input") / "fire.gpkg"
    make_incident(path)
    return path


def test_a_ledger_is_told_from_another_geopackage(ledger: Path, tmp_path: Path) -> None:
    """Both end in .gpkg and begin alike; the table decides."""
    other = tmp_path / "other.gpkg"
    write(Packet(detections=seen(2)), other, host=HOST)
    assert choose_format(as_input(ledger), host=HOST).name == "ledger"
    assert choose_format(as_input(other), host=HOST).name == "gpkg"


def test_a_ledger_read_as_a_file_is_the_list_as_it_stands(ledger: Path) -> None:
    """The numbered spots with their status come first; sightings are a layer to ask for."""
    from exchange.formats.options import ReadOptions

    packet = read(ledger, host=HOST)
    assert packet.incident == "Marrow Flat"
    assert packet.detections.id.tolist() == ["H-001", "H-002", "H-003", "H-004"]
    assert packet.detections.status.tolist() == ["hot", "unchecked", "unchecked", "unchecked"]
    assert packet.notes.detection.tolist() == ["H-001", "H 9"]
    assert [len(packet.tracks), len(packet.perimeters)] == [1, 1]
    sightings = read(ledger, host=HOST, options=ReadOptions(layers=("sightings",))).detections
    assert sightings.extra["spot"].tolist() == ["H-001", "H-002", "H-003", "H-004", "H-001", "H-001"]
    assert sightings.source[3].file == "sortie.csv"


def test_gdal_is_never_given_a_ledger(ledger: Path) -> None:
    """Even when told that it is a GeoPackage, the program refuses to open a ledger through GDAL."""
    with pytest.raises(NotThisFormatError, match="is a ledger"):
        read(ledger, host=HOST, format_name="gpkg")


@pytest.mark.parametrize("name", ["gpkg", "ledger"])
def test_a_ledger_is_never_replaced(ledger: Path, name: str) -> None:
    """Even a program that asks to overwrite leaves the incident's record as it is, whatever it writes."""
    before = ledger.read_bytes()
    with pytest.raises(WriteError, match="is a ledger, which is never replaced"):
        write(Packet(detections=seen(2)), ledger, host=HOST, format_name=name, overwrite=True)
    assert ledger.read_bytes() == before


def test_an_unknown_layer_is_told(ledger: Path) -> None:
    """The refusal lists the layers there are."""
    from exchange.formats.options import ReadOptions

    with pytest.raises(OptionError, match="spots, sightings, notes"):
        read(ledger, host=HOST, options=ReadOptions(layers=("hotspots",)))


def test_writing_a_ledger_starts_one(tmp_path: Path) -> None:
    """What is written to a ledger's name is a whole ledger with one source, alone in its folder."""
    target = tmp_path / "new.ledger.gpkg"
    packet = Packet(incident="Marrow Flat", detections=seen(3))
    write(packet, target, host=HOST)
    assert read(target, host=HOST) == packet
    assert check_ledger(target).problems == ()
    assert [path.name for path in tmp_path.iterdir()] == ["new.ledger.gpkg"]


_LOOK = """
import json, sys
import fiona, pyogrio
path = sys.argv[1]
found = {"fiona": fiona.listlayers(path), "pyogrio": pyogrio.list_layers(path).tolist(), "layers": {}}
for layer in ("spots", "sightings", "notes", "places", "perimeters", "tracks"):
    with fiona.open(path, layer=layer) as collection:
        rows = [[row.id, row.geometry and row.geometry.__geo_interface__, dict(row.properties)] for row in collection]
        about = {"crs": collection.crs.to_epsg(), "geometry": collection.schema["geometry"], "rows": rows}
    frame = pyogrio.read_dataframe(path, layer=layer)
    about["pyogrio"] = [frame.crs.to_epsg(), len(frame), frame.geometry.to_wkt().tolist()]
    found["layers"][layer] = about
print(json.dumps(found, default=str))
"""


def test_a_gis_opens_it_read_only(ledger: Path) -> None:
    """In a process of its own GDAL lists the layers and finds geometry, reference system and attributes."""
    before = ledger.read_bytes()
    done = subprocess.run(  # noqa: S603  # own words
        [sys.executable, "-W", "error", "-c", _LOOK, str(ledger)], capture_output=True, text=True, check=False
    )
    assert (done.returncode, done.stderr) == (0, "")
    found = json.loads(done.stdout)
    assert {"spots", "sightings", "notes", "places", "perimeters", "tracks", "act", "source"} <= set(found["fiona"])
    assert {"membership", "seal", "sighting"} & set(found["fiona"]) == set()
    layers = found["layers"]
    assert {about["crs"] for about in layers.values()} == {4326}
    assert {about["pyogrio"][0] for about in layers.values()} == {4326}
    assert {name: len(about["rows"]) for name, about in layers.items()} == {
        "spots": 4, "sightings": 6, "notes": 2, "places": 0, "perimeters": 1, "tracks": 1,
    }  # fmt: skip
    packet = read(ledger, host=HOST)
    spots = packet.detections
    assert [row[1]["coordinates"] for row in layers["spots"]["rows"]] == [
        [x, y] for x, y in zip(spots.longitude.tolist(), spots.latitude.tolist(), strict=True)
    ]
    fields = layers["spots"]["rows"][0][2]
    assert (fields["id"], fields["status"], fields["temperature"]) == ("H-001", "hot", 300.0)
    assert layers["sightings"]["rows"][4][2]["spot"] == "H-001"
    ring = layers["perimeters"]["rows"][0][1]["coordinates"][0][0]
    assert sorted(set(map(tuple, ring))) == [(-114.3, 44.4), (-114.3, 44.6), (-114.1, 44.4), (-114.1, 44.6)]
    assert layers["perimeters"]["rows"][0][2]["as_of"].startswith("2026-08-14T00:00:00")
    assert layers["tracks"]["rows"][0][1]["coordinates"] == [[[-114.2, 44.5], [-114.3, 44.6]]]
    assert ledger.read_bytes() == before
