"""Time GIS layers side by side with the general reader and writer: ``python tests/benchmarks/bench_ogr.py [rows]``.

GeoPackage, FlatGeobuf and zipped Shapefile. Every run is a fresh process, ours, the peer and a bare loop of fiona in
turn; the median of the ratios of such rounds is told, by the processor and by the clock, and the peak memory of each.
Reading is into a packet and writing from one; the peer reads into and writes from an Arrow table, imports are not
timed. The bare loop reads each feature and drops it, and writes plain dictionaries that are ready. The layers to read
are a stranger's, written by the peer. All data is made here and invented.
"""

from __future__ import annotations

import json
import statistics
import subprocess
import sys
import tempfile
from pathlib import Path

ROUNDS = 3
DRIVERS = {"gpkg": "GPKG", "fgb": "FlatGeobuf", "shp.zip": "ESRI Shapefile"}
_PRELUDE = """
import json, pathlib, sys, time, warnings
warnings.simplefilter("ignore")
path, target, driver = sys.argv[1:4]
def begin():
    return time.process_time(), time.perf_counter()
def report(begun):
    seconds = time.process_time() - begun[0], time.perf_counter() - begun[1]
    # Not ru_maxrss, which a process takes over from the one that started it.
    lines = pathlib.Path("/proc/self/status").read_text().splitlines()
    peak = next(int(line.split()[1]) for line in lines if line.startswith("VmHWM:"))
    print(json.dumps([*seconds, peak / 1024]))
"""
_OURS = """
from exchange.formats.reading import read
from exchange.formats.writing import write
from exchange.testing import host_with
from exchange_ogr.formats import FlatGeobuf, GeoPackage, Shapefile
import exchange_ogr.reading, exchange_ogr.writing, fiona, pyproj, pyarrow.compute, shapely
host = host_with(GeoPackage(), FlatGeobuf(), Shapefile())
"""
_PEER = "import pyogrio, pyarrow.compute\n"
JOBS = {
    ("read", "ours"): _OURS + "t = begin(); packet = read(path, host=host); report(t)",
    ("read", "peer"): _PEER + "t = begin(); pyogrio.read_arrow(path); report(t)",
    ("write", "ours"): _OURS
    + "packet = read(path, host=host); t = begin(); write(packet, target, host=host); report(t)",
    ("write", "peer"): _PEER
    + """
meta, table = pyogrio.read_arrow(path)
t = begin()
pyogrio.write_arrow(table, target, driver=driver, geometry_type=meta["geometry_type"],
                    geometry_name=meta["geometry_name"] or "wkb_geometry", crs="EPSG:4326")
report(t)
""",
}
_FIONA = """
import fiona
source = "/vsizip/" + path if path.endswith(".zip") else path
"""
JOBS |= {
    ("read", "bare"): _FIONA
    + """
t = begin()
with fiona.open(source) as layer:
    for feature in layer:
        pass
report(t)
""",
    ("write", "bare"): _FIONA
    + """
with fiona.open(source) as layer:
    schema = layer.schema
    rows = [{"geometry": {"type": "Point", "coordinates": feature.geometry.coordinates},
             "properties": dict(feature.properties)} for feature in layer]
options = {"SPATIAL_INDEX": "NO"} if driver == "FlatGeobuf" else {}
t = begin()
with fiona.open(target, "w", driver=driver, schema=schema, crs="EPSG:4326", **options) as layer:
    layer.writerecords(rows)
report(t)
""",
}
_MAKE = """
import sys
import geopandas, numpy, pandas
target, driver, rows = sys.argv[1], sys.argv[2], int(sys.argv[3])
row = numpy.arange(rows)
stamps = numpy.datetime_as_string(numpy.datetime64("2026-08-14T00:00:00") + row % 86_400)
columns = {
    "name": [f"Spot {number}" for number in row],
    "seen": [f"{stamp}Z" for stamp in stamps],
    "temp_c": 80.5 + row % 331 * 0.75,
    "area_m2": 0.25 + row % 97 * 0.5,
    "sortie": [f"S{number % 5}" for number in row],
    "frame": row,
    "note": [f"flank {number % 12} of the Marrow Flat" for number in row],
}
points = geopandas.points_from_xy(-114 - row % 9973 * 1.37e-5, 44 + row % 7919 * 1.91e-5, 1200 + row % 613 * 0.5)
geopandas.GeoDataFrame(columns, geometry=points, crs="EPSG:4326").to_file(target, driver=driver, engine="pyogrio")
"""


def run(code: str, *arguments: str) -> str:
    """Run a program in a fresh process and return what it printed.

    Raises
    ------
    SystemExit
        When it fails.
    """
    done = subprocess.run([sys.executable, "-c", code, *arguments], capture_output=True, text=True, check=False)
    if done.returncode:
        raise SystemExit(done.stderr)
    return done.stdout


def measure(job: tuple[str, str], path: Path, suffix: str) -> list[float]:
    """Return the processor's seconds, the clock's and the peak in MB of one job."""
    with tempfile.TemporaryDirectory() as folder:
        target = str(Path(folder) / f"out.{suffix}")
        return [float(number) for number in json.loads(run(_PRELUDE + JOBS[job], str(path), target, DRIVERS[suffix]))]


def compare(what: str, path: Path, suffix: str) -> None:
    """Print the best times of all three and the medians of the ratios of the rounds."""
    sides = ("ours", "peer", "bare")
    rounds = [{side: measure((what, side), path, suffix) for side in sides} for _ in range(ROUNDS)]
    best = {side: min(times[side] for times in rounds) for side in sides}
    told = [f"{side} {best[side][0]:7.3f} s {best[side][2]:5.0f} MB" for side in sides]
    for side in ("peer", "bare"):
        processor, clock = (statistics.median(times[side][n] / times["ours"][n] for times in rounds) for n in (0, 1))
        told.append(f"{side}/ours {processor:5.2f} by the processor, {clock:5.2f} by the clock")
    print(f"{what:5} {suffix:8}", *told, sep="   ", flush=True)


def main() -> None:
    """Compare reading and writing of each format for the number of rows given, 100,000 by default."""
    rows = sys.argv[1] if len(sys.argv) > 1 else "100000"
    with tempfile.TemporaryDirectory() as folder:
        for suffix, driver in DRIVERS.items():
            path = Path(folder) / f"in.{suffix}"
            run(_MAKE, str(path), driver, rows)
            for what in ("read", "write"):
                compare(what, path, suffix)


if __name__ == "__main__":
    main()
