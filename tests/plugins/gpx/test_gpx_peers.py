"""Files that no one here wrote, and what other libraries read of them."""

from __future__ import annotations

import json
import subprocess
import sys
from functools import cache
from pathlib import Path

from exchange.model import Packet
from tests.plugins.gpx.gpx_kit import check_schema, read_file, write_file
from tests.reference.packages import package_files

# The sample files of gpxpy's source distribution (Apache-2.0), of many devices and programs.
CARRIER = ("gpxpy", "1.6.2")
LAYERS = ("waypoints", "routes", "tracks", "route_points", "track_points")

# In a process of its own: GDAL and what it loads stay out of this one.
_COUNT = """
import json, pathlib, sys, warnings
warnings.simplefilter("ignore")
import fiona, pyogrio
counts = {}
for path in sorted(pathlib.Path(sys.argv[1]).glob("*.gpx")):
    counts[path.name] = {}
    for layer in sys.argv[2:]:
        found = [pyogrio.read_arrow(path, layer=layer)[1].num_rows]
        with fiona.open(path, layer=layer) as features:
            found.append(len(list(features)))
        counts[path.name][layer] = max(found)
print(json.dumps(counts))
"""


def folder() -> Path:
    return package_files(*CARRIER) / "test_files"


@cache
def peers() -> dict[str, dict[str, int]]:
    command = [sys.executable, "-c", _COUNT, str(folder()), *LAYERS]
    counts: dict[str, dict[str, int]] = json.loads(subprocess.run(command, capture_output=True, check=True).stdout)  # noqa: S603 -- own arguments
    return counts


def count(packet: Packet) -> dict[str, int]:
    routes = [track for track in packet.tracks if track.properties.get("gpx_form") == "route"]
    tracks = [track for track in packet.tracks if track.properties.get("gpx_form") != "route"]
    return {
        "waypoints": len(packet.detections) + len(packet.places),
        "routes": len(routes),
        "tracks": len(tracks),
        "route_points": sum(map(len, routes)),
        "track_points": sum(map(len, tracks)),
    }


def test_all_samples_are_there() -> None:
    """The source distribution carries its thirty files."""
    assert len(peers()) == 30


def test_as_many_features_as_the_peers(tmp_path: Path) -> None:
    """Every file is read, with at least as many features of each layer as fiona or pyogrio read; and goes out valid."""
    for name, theirs in peers().items():
        packet = read_file(folder() / name)
        ours = count(packet)
        assert all(ours[layer] >= theirs[layer] for layer in LAYERS), (name, ours, theirs)
        write_file(packet, tmp_path / "out.gpx")
        check_schema(tmp_path / "out.gpx")
        assert read_file(tmp_path / "out.gpx") == packet, name


def test_the_peers_read_what_we_write(tmp_path: Path) -> None:
    """GDAL finds in our files the very features that it found in the originals."""
    for path in folder().glob("*.gpx"):
        write_file(read_file(path), tmp_path / path.name)
    command = [sys.executable, "-c", _COUNT, str(tmp_path), *LAYERS]
    read = json.loads(subprocess.run(command, capture_output=True, check=True).stdout)  # noqa: S603 -- own arguments
    assert read == peers()
