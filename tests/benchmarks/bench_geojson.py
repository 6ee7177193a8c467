"""Read and write GeoJSON beside the fastest general reader and writer.

Run it as `python tests/benchmarks/bench_geojson.py [rows]`.

Each measurement runs in a process of its own, ours and the peer's in turn; the best of the runs counts, imports and a
first small file do not. Ours is the way into the model and out of it, as the command line goes. Ordinary files are
regular ones with what strangers write: escapes, nested values, members in another order, gaps, white space.
"""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
from pathlib import Path

RUNS = 5

_MEASURE = """
import resource, sys, time
job, path = sys.argv[1:]
{setup}
start, begun = time.perf_counter(), time.process_time()
{work}
peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024
print(time.perf_counter() - start, time.process_time() - begun, peak)
"""
_OURS = """
import warnings, pandas, pyarrow.compute
from pathlib import Path
import exchange_geojson
from exchange.formats.host import Candidate, Host
from exchange.formats.reading import read
from exchange.formats.writing import write
host = Host.with_plugins([Candidate("geojson", "hotspot-exchange", "0", module=exchange_geojson)])
small = read(path + ".small.geojson", host=host)
write(small, path + ".small.ours.geojson", host=host, overwrite=True)
"""
_PEER = """
import warnings; warnings.simplefilter("ignore")
import pandas, pyogrio, pyarrow.compute
meta, table = pyogrio.read_arrow(path + ".small.geojson")
pyogrio.write_arrow(table, path + ".small.peer.geojson", driver="GeoJSON", geometry_type=meta["geometry_type"],
                    geometry_name=meta["geometry_name"] or "wkb_geometry", crs="EPSG:4326")
"""
JOBS = {
    "ours read": (_OURS, "packet = read(path, host=host)"),
    "peer read": (_PEER, "table = pyogrio.read_arrow(path)"),
    "ours write": (
        _OURS + "packet = read(path, host=host)\n",
        "write(packet, path + '.ours.geojson', host=host, overwrite=True)",
    ),
    "peer write": (
        _PEER + "meta, table = pyogrio.read_arrow(path)\n",
        "pyogrio.write_arrow(table, path + '.peer.geojson', driver='GeoJSON', geometry_type=meta['geometry_type'],"
        " geometry_name=meta['geometry_name'] or 'wkb_geometry', crs='EPSG:4326')",
    ),
}


def make_feature(row: int) -> dict[str, object]:
    """Return one invented hotspot of a stranger's file."""
    properties = {
        "name": f"Spot {row}",
        "time": f"2026-08-14T19:{row % 60:02d}:{row % 59:02d}Z",
        "temp_c": 80.5 + row % 331 * 0.75,
        "area_m2": 0.25 + row % 97 * 0.5,
        "sortie": f"S{row % 5}",
        "count": row % 100,
        "pilot": "Rowan Vale",
        "note": f"flank {row % 12} of the Marrow Flat",
    }
    position = [-116.0 - row % 9973 * 1.37e-5, 45.0 + row % 7919 * 1.91e-5, 1200.0 + row % 613 * 0.5]
    return {"type": "Feature", "properties": properties, "geometry": {"type": "Point", "coordinates": position}}


def make_odd(row: int) -> dict[str, object]:
    """Return the same with what ordinary files hold here and there."""
    feature = make_feature(row)
    properties = dict(feature["properties"])  # type: ignore[call-overload]
    if row % 3 == 0:
        properties["note"] = f'marked "{row}" by\\the road'
    if row % 5 == 0:
        properties["tags"] = ["log", {"depth": row % 7}]
    if row % 7 == 0:
        properties["temp_c"] = None
    if row % 2:
        return {"properties": properties, "id": row, "geometry": feature["geometry"], "type": "Feature"}
    return feature | {"properties": properties}


def write_file(path: Path, rows: int, *, ordinary: bool) -> None:
    """Write one feature a line."""
    make = make_odd if ordinary else make_feature
    with path.open("w", encoding="utf-8") as stream:
        stream.write('{\n"type": "FeatureCollection",\n"features": [\n')
        for row in range(rows):
            stream.write((",\n" if row else "") + json.dumps(make(row)))
        stream.write("\n]\n}\n")


def measure(job: str, path: Path) -> tuple[float, float, int]:
    """Return the seconds, the processor's seconds and the peak memory in MB of one job in a process of its own."""
    setup, work = JOBS[job]
    script = _MEASURE.format(setup=setup, work=work)
    done = subprocess.run(  # our own interpreter and script
        [sys.executable, "-c", script, job, str(path)], capture_output=True, text=True, check=True
    )
    seconds, processor, megabytes = done.stdout.split()
    return float(seconds), float(processor), int(megabytes)


def compare(label: str, path: Path, what: str) -> None:
    """Print ours and the peer's best of several runs, in turn, and the ratios by the clock and by the processor."""
    runs = [(measure(f"ours {what}", path), measure(f"peer {what}", path)) for _ in range(RUNS)]
    ours, peer = ([min(run[side][index] for run in runs) for index in range(3)] for side in (0, 1))
    print(
        f"{what:5} {label:24} ours {ours[0]:7.3f} s ({ours[1]:7.3f} cpu) {ours[2]:5d} MB   "
        f"pyogrio {peer[0]:7.3f} s ({peer[1]:7.3f} cpu) {peer[2]:5d} MB   "
        f"ratio {peer[0] / ours[0]:5.2f} ({peer[1] / ours[1]:5.2f} cpu)",
        flush=True,
    )


def main() -> None:
    """Run all comparisons for the number of rows given, 100,000 by default."""
    rows = int(sys.argv[1]) if len(sys.argv) > 1 else 100_000
    with tempfile.TemporaryDirectory() as folder:
        regular, ordinary = Path(folder) / "regular.geojson", Path(folder) / "ordinary.geojson"
        for path, is_ordinary in ((regular, False), (ordinary, True)):
            write_file(path, rows, ordinary=is_ordinary)
            write_file(Path(f"{path}.small.geojson"), 100, ordinary=is_ordinary)
        compare(f"{rows} rows, regular", regular, "read")
        compare(f"{rows} rows, ordinary", ordinary, "read")
        compare(f"{rows} rows", regular, "write")
        own = Path(f"{regular}.ours.geojson")
        write_file(Path(f"{own}.small.geojson"), 100, ordinary=False)
        compare(f"{rows} rows, our own", own, "read")


if __name__ == "__main__":
    main()
