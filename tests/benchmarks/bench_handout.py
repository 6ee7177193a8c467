"""Time a hand-out beside a general writer: ``python tests/benchmarks/bench_handout.py [spots [profile...]]``.

For each shipped profile: the whole hand-out (names, order by number, comments, splitting, manifest, index and files)
against pyogrio writing the same points with the same name and text into one file of the same format. Each run is a
fresh process, imports left out; the best of three counts, by the clock and by the processor. Last, the walk through
5,000 spots against its bound. All data is made here and invented.
"""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile

REPEATS = 3
_LIST = """
import json, sys, time
import numpy as np
from exchange.formats.host import Host
from exchange.handout import HandoutOptions, find_formats, hand_out, load_profiles, write_handout
from exchange.model import Detections, Packet
import pyarrow.compute, scipy.spatial, shapely, pyproj, mgrs
count, folder = int(sys.argv[1]), sys.argv[2]
rng = np.random.default_rng(2026)
spots = Detections(
    id=[f"H-{row:03d}" for row in range(1, count + 1)],
    longitude=-114.0 + rng.random(count) * 0.3, latitude=44.5 + rng.random(count) * 0.3,
    altitude=rng.random(count) * 900 + 1200, temperature=rng.random(count) * 500, accuracy=rng.random(count) * 9 + 0.5,
    last_seen=np.datetime64("2026-08-14T10:00", "ms") + rng.integers(0, 86_400_000, count),
    status=rng.choice(["hot", "unchecked", "recheck"], count).astype(object), sortie="D-1", note="by the old road",
)
host = Host.with_installed_plugins()
def report(started):
    print(json.dumps([time.perf_counter() - started[0], time.process_time() - started[1]]))
"""
_OURS = """
profiles = load_profiles(host).choose([sys.argv[3]])
formats = find_formats(profiles, host)
started = time.perf_counter(), time.process_time()
handout = hand_out(Packet(detections=spots), profiles, formats)
write_handout(handout, folder, host=host)
report(started)
"""
_PEER = """
import geopandas, pyarrow, pyogrio
profiles = load_profiles(host).choose([sys.argv[3]])
handout = hand_out(Packet(detections=spots), profiles, find_formats(profiles, host))
kind = profiles[0].format
driver = {"gpx": "GPX", "kml": "KML", "csv": "CSV", "geojson": "GeoJSON"}[kind]
heads = {"gpx": ("name", "desc"), "kml": ("Name", "Description")}.get(kind, ("name", "note"))
columns = dict(zip(heads, (handout.manifest.short_name, handout.manifest.comment)))
points = shapely.points(handout.manifest.longitude, handout.manifest.latitude)
target = f"{folder}/peer.{kind}"
# Writing from Arrow is its fastest call, but refuses the fields of GPX; from a frame it takes them.
frame = geopandas.GeoDataFrame(columns, geometry=points, crs="EPSG:4326")
cells = {name: pyarrow.array(column) for name, column in columns.items()}
table = pyarrow.table({**cells, "geometry": pyarrow.array(shapely.to_wkb(points), pyarrow.binary())})
options = {"GEOMETRY": "AS_XY"} if kind == "csv" else {}
started = time.perf_counter(), time.process_time()
if kind == "gpx":
    pyogrio.write_dataframe(frame, target, driver=driver, layer="waypoints")
else:
    pyogrio.write_arrow(table, target, driver=driver, geometry_name="geometry", geometry_type="Point",
                        crs="EPSG:4326", layer_options=options)
report(started)
"""
_WALK = """
from exchange.handout.order import order_spots
started = time.perf_counter(), time.process_time()
walk = order_spots(spots, "walk")
report(started)
area = 0.3 * 0.3 * 111_000 * 111_000 * np.cos(np.radians(44.65))
print(json.dumps([walk.length_m, walk.length_by_number_m, 0.7124 * float(np.sqrt(count * area))]))
"""


def run_once(code: str, count: int, *arguments: str) -> list[list[float]]:
    """Run one job in a fresh process and a fresh folder; return the lists it printed."""
    with tempfile.TemporaryDirectory(prefix="bench-") as folder:
        command = [sys.executable, "-c", _LIST + code, str(count), folder, *arguments]
        answer = subprocess.run(command, capture_output=True, text=True, check=False)  # own code
    if answer.returncode:
        raise SystemExit(answer.stderr)
    return [json.loads(line) for line in answer.stdout.splitlines()]


def find_best(code: str, count: int, name: str) -> tuple[float, float]:
    """Return the best seconds by the clock and by the processor."""
    runs = [run_once(code, count, name)[0] for _ in range(REPEATS)]
    return min(run[0] for run in runs), min(run[1] for run in runs)


def main(count: int, *names: str) -> None:
    """Print a table of all profiles and the walk."""
    from exchange.handout import load_profiles

    print(f"{count:,} spots: seconds by the clock (by the processor); ratio is the peer's clock over ours")
    for name in names or sorted(load_profiles().profiles):
        ours, peer = find_best(_OURS, count, name), find_best(_PEER, count, name)
        print(
            f"{name:16} ours {ours[0]:6.2f} ({ours[1]:5.2f})   pyogrio {peer[0]:6.2f} ({peer[1]:5.2f})   "
            f"ratio {peer[0] / ours[0]:5.2f}, by the processor {peer[1] / ours[1]:5.2f}"
        )
    (seconds, processor), (walk, by_number, bound) = run_once(_WALK, 5_000)
    print(
        f"walk through 5,000: {seconds:.2f} s ({processor:.2f}), {walk / 1000:.0f} km, by number {by_number / 1000:.0f}"
    )
    print(f"  against 0.7124 sqrt(n A), about the shortest for many random points: {walk / bound:.3f}")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 100_000, *sys.argv[2:])
