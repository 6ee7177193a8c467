"""Readers that no one here wrote read what was written: pyogrio (in a process of its own), geopandas, Python's own."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from shapely.geometry import shape

from exchange.formats.writing import write
from exchange.model import Packet
from tests.plugins.geojson.geojson_kit import FIXTURES, HOST, read_file, write_value
from tests.samples import SAMPLES

_ASK_PYOGRIO = """
import json, sys
import pyogrio
from shapely import from_wkb
meta, table = pyogrio.read_arrow(sys.argv[1])
name = meta["geometry_name"] or "wkb_geometry"
shapes = [None if wkb is None else from_wkb(wkb).__geo_interface__ for wkb in table[name].to_pylist()]
rows = table.drop_columns([name]).to_pylist()
print(json.dumps({"crs": meta["crs"], "rows": rows, "shapes": shapes}, default=str))
"""


def ask_pyogrio(path: Path) -> dict[str, Any]:
    """Return what pyogrio reads of a file."""
    done = subprocess.run(  # noqa: S603  # our own interpreter and script
        [sys.executable, "-c", _ASK_PYOGRIO, str(path)], capture_output=True, text=True, check=True
    )
    answer: dict[str, Any] = json.loads(done.stdout)
    return answer


@pytest.mark.parametrize("suffix", [".geojson", ".geojsons"])
@pytest.mark.parametrize("name", ["every column of a detection", "a perimeter", "some of everything"])
def test_pyogrio_reads_what_was_written(name: str, suffix: str, tmp_path: Path) -> None:
    """The coordinate reference system, each geometry and each value arrive in other hands."""
    packet = SAMPLES[name]
    path = tmp_path / f"written{suffix}"
    write(packet, path, host=HOST)
    answer = ask_pyogrio(path)
    own = [f for f in _features(path) if f["type"] == "Feature"]
    # EPSG:4979 is WGS 84 with heights.
    assert answer["crs"] in ("EPSG:4326", "EPSG:4979", "OGC:CRS84")
    assert len(answer["rows"]) == len(own)
    for written, row, found in zip(own, answer["rows"], answer["shapes"], strict=True):
        assert (found is None) == (written["geometry"] is None)
        assert found is None or shape(found).equals_exact(shape(written["geometry"]), 1e-9, normalize=True)
        assert row["exchange"] == written["properties"]["exchange"]
        numbers = {n: v for n, v in written["properties"].items() if isinstance(v, float)}
        assert {n: row[n] for n in numbers} == pytest.approx(numbers)


def _features(path: Path) -> list[dict[str, Any]]:
    if path.suffix == ".geojson":
        features: list[dict[str, Any]] = json.loads(path.read_bytes())["features"]
        return features
    return [json.loads(text) for text in path.read_text(encoding="utf-8").split("\x1e") if text]


@pytest.mark.parametrize("name", ["rfc_7946_section_1_5", "every_geometry", "nested_values_and_ids", "single_feature"])
def test_no_feature_that_pyogrio_reads_is_missed(name: str) -> None:
    """What the general reader finds in a file, is found here."""
    path = next((FIXTURES / "valid").glob(f"{name}.*"))
    packet = read_file(path)
    found = {int(r) for t in (packet.detections, packet.places, *packet.tracks) for r in t.source.record}
    found |= {perimeter.source.record for perimeter in packet.perimeters}
    assert len(found) >= len(ask_pyogrio(path)["rows"])


@pytest.mark.parametrize("name", SAMPLES)
def test_every_sample_is_strict_json_and_lawful_geojson(name: str, tmp_path: Path) -> None:
    """The standard library reads it, and each geometry is one that shapely makes a valid object of."""
    written = write_value(tmp_path, SAMPLES[name])
    assert written["type"] == "FeatureCollection"
    for each in written["features"]:
        assert each.keys() >= {"type", "geometry", "properties"}
        if each["geometry"] is not None:
            corners = np.array(_corners(each["geometry"]["coordinates"]))
            assert (np.abs(corners[:, 0]) <= 180).all()
            assert shape(each["geometry"]).geom_type == each["geometry"]["type"]


def _corners(coordinates: Any) -> list[list[float]]:
    if coordinates and isinstance(coordinates[0], list):
        return [corner for part in coordinates for corner in _corners(part)]
    return [coordinates[:2]] if coordinates else [[0.0, 0.0]]


def test_geopandas_reads_the_points_where_they_are(tmp_path: Path) -> None:
    """Longitude and latitude are not swapped, and the number of digits is not cut."""
    geopandas = pytest.importorskip("geopandas")
    packet = SAMPLES["every column of a detection"]
    path = tmp_path / "written.geojson"
    write(Packet(detections=packet.detections), path, host=HOST)
    frame = geopandas.GeoDataFrame.from_features(json.loads(path.read_bytes())["features"])
    assert frame.geometry.x.tolist() == packet.detections.longitude.tolist()
    assert frame.geometry.y.tolist() == packet.detections.latitude.tolist()
    assert frame.geometry.z.tolist() == packet.detections.altitude.tolist()
