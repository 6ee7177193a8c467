"""Time tracing side by side with plain noding: ``python tests/benchmarks/bench_perimeter.py [fixes ...]``.

The peer is what a general geometry library does with the same track in metres: ``unary_union`` of the line with
itself, ``polygonize``, and the union of the faces. It joins no flights, removes no spikes and averages no laps: it is a
measure of size, not of quality. Every run is a fresh process; processor seconds are compared, imports are not timed.
All data is made here and invented: an edge of up to 5000 acres, flown round and round at 10 Hz, or once, ever denser.
"""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np

from exchange.geo.frame import LocalFrame
from tests.perimeter.simulator.edges import Ring, lobed
from tests.perimeter.simulator.faults import slow_noise

REPEATS = 2
_METRES_A_FIX = 0.8
_PRELUDE = """
import json, pathlib, sys, time
import numpy as np
columns = np.load(sys.argv[1])
def report(started, area_m2):
    seconds = time.process_time() - started
    # Not ru_maxrss, which a process takes over from the one that started it.
    lines = pathlib.Path("/proc/self/status").read_text().splitlines()
    peak = next(int(line.split()[1]) for line in lines if line.startswith("VmHWM:"))
    print(json.dumps([seconds, peak / 1024, area_m2 / 4046.8564224]))
"""
PROGRAMS = {
    "ours": """
from exchange.model import Track
from exchange.perimeter import trace_perimeter
import shapely, pyproj, scipy.spatial
track = Track(longitude=columns["longitude"], latitude=columns["latitude"], time=columns["time"])
t = time.process_time()
traced = trace_perimeter([track])
report(t, traced.perimeter.area if traced.perimeter else float("nan"))
""",
    "unary_union + polygonize": """
import shapely
t = time.process_time()
line = shapely.LineString(columns["places"])
faces = shapely.polygonize([shapely.unary_union(line)])
area = shapely.unary_union(shapely.get_parts(faces)).area
report(t, area)
""",
}


def make_track(path: Path, fixes: int, *, kind: str) -> None:
    """Write the columns of a track that runs round and round, or once around with as many fixes."""
    random = np.random.default_rng(2611)
    (ring,) = lobed(random, 5000.0).rings
    # A short log goes around a smaller fire once, not a part of the way around the large one.
    ring = Ring(ring.corners * min(1.0, fixes * _METRES_A_FIX / (1.02 * ring.length)))
    step = _METRES_A_FIX if kind == "laps" else 1.02 * ring.length / fixes
    noise = np.column_stack([slow_noise(random, fixes, 10.0, 1.0, 10.0) for _ in range(2)])
    places = ring.at(np.arange(fixes) * step) + noise + random.normal(0, 0.05, (fixes, 2))
    longitude, latitude = LocalFrame(-114.0, 44.5).to_degrees(places[:, 0], places[:, 1])
    begin = np.datetime64("2026-08-13T12:00:00", "ms")
    time = begin + np.arange(fixes) * np.timedelta64(100, "ms")
    np.savez(path, places=places, longitude=longitude, latitude=latitude, time=time)


def time_all(path: Path, programs: dict[str, str]) -> dict[str, list[float]]:
    """Run each program several times, in turn; return its best seconds, the memory in MB and the acres found."""
    best: dict[str, list[float]] = {}
    for _ in range(REPEATS):
        for name, program in programs.items():
            command = [sys.executable, "-c", _PRELUDE + program, str(path)]
            done = subprocess.run(command, capture_output=True, text=True, check=False)
            if done.returncode:
                raise SystemExit(f"{name} failed:\n{done.stderr}")
            best[name] = min(best.get(name, [float("inf")]), json.loads(done.stdout.splitlines()[-1]))
    return best


def main() -> None:
    """Time tracks of several sizes and two kinds."""
    sizes = [int(text) for text in sys.argv[1:]] or [10_000, 100_000, 1_000_000]
    with tempfile.TemporaryDirectory() as folder:
        for kind in ("laps", "one lap"):
            for fixes in sizes:
                path = Path(folder) / "track.npz"
                make_track(path, fixes, kind=kind)
                best = time_all(path, PROGRAMS)
                peer = best["unary_union + polygonize"][0]
                print(f"{fixes} fixes, {kind}")
                for name, (seconds, memory, acres) in best.items():
                    ratio = f"{peer / seconds:5.2f} times the peer"
                    print(f"  {name:26} {seconds:7.2f} s  {memory:6.0f} MB  {acres:8.1f} acres  {ratio}", flush=True)


if __name__ == "__main__":
    main()
