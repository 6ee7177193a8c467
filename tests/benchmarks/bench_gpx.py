"""Time GPX side by side with the general reader and writer: ``python tests/benchmarks/bench_gpx.py [rows]``.

Every run is a fresh process, ours and the peer in turn; the best of several is compared. Reading is into a packet and
writing from one, escaping included. Processor seconds are compared, since other work on a machine falsifies those of
the wall clock; imports are not timed. All data is made here and invented.

Regular files hold points of one shape. Ordinary ones hold comments, CDATA, references, nested extensions, missing and
reordered elements. In the third kind every point is written in a way the scanner does not take, so that the parser
alone is timed.
"""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np

REPEATS = 3
_PRELUDE = """
import json, pathlib, sys, time, warnings
warnings.simplefilter("ignore")
path, target, layer = sys.argv[1:4]
def report(started):
    seconds = time.process_time() - started
    # Not ru_maxrss, which a process takes over from the one that started it.
    lines = pathlib.Path("/proc/self/status").read_text().splitlines()
    peak = next(int(line.split()[1]) for line in lines if line.startswith("VmHWM:"))
    print(json.dumps([seconds, peak / 1024]))
"""
_HOST = """
from exchange.formats.reading import as_input, read, read_packets
from exchange.formats.writing import write
from exchange.testing import host_with
from exchange_gpx.format import GpxFormat
import exchange_gpx.reading, exchange_gpx.writing, lxml.etree, pyarrow.compute
host = host_with(GpxFormat())
"""
READERS = {
    "ours": _HOST + "t = time.process_time(); packet = read(path, host=host); report(t)",
    "ours, batch by batch": (
        _HOST + "t = time.process_time()\nfor packet in read_packets(as_input(path), host=host): pass\nreport(t)"
    ),
    "pyogrio.read_arrow": "import pyogrio\nt = time.process_time(); pyogrio.read_arrow(path, layer=layer); report(t)",
}
WRITERS = {
    "ours": _HOST
    + "packet = read(path, host=host)\nt = time.process_time(); write(packet, target, host=host); report(t)",
    # Its writing from Arrow refuses the fields of this driver; from a frame it takes them.
    "pyogrio.write_dataframe": """
import pyogrio, geopandas
frame = pyogrio.read_dataframe(path, layer=layer).dropna(axis=1, how="all")
t = time.process_time(); pyogrio.write_dataframe(frame, target, driver="GPX", layer=layer); report(t)
""",
}
_ROOT = '<gpx xmlns="http://www.topografix.com/GPX/1/1" version="1.1" creator="invented" xmlns:m="urn:example:marks">\n'


def make_points(rows: int, *, name: str, kind: str) -> list[str]:
    """Return the points of a flown line, or marked along it, each as one element."""
    random = np.random.default_rng(2611)
    latitude = 44.5 + np.cumsum(random.normal(0, 1e-5, rows))
    longitude = -114.2 + np.cumsum(random.normal(0, 1e-5, rows))
    times = np.datetime_as_string(np.datetime64("2026-08-14T00:00:00") + np.arange(rows))
    make = {"regular": _regular, "ordinary": _ordinary, "parser alone": _single_quoted}[kind]
    return [make(name, n, f"{latitude[n]:.7f}", f"{longitude[n]:.7f}", times[n]) for n in range(rows)]


def _inner(name: str, n: int, time: str) -> list[str]:
    parts = [f"<ele>{1500 + n % 100 / 10}</ele>", f"<time>{time}Z</time>"]
    if name == "wpt":
        parts += [f"<name>Spot {n}</name>", f"<cmt>remark {n % 7}</cmt>", f"<desc>seen by crew {n % 13}</desc>"]
        parts += ["<sym>Flag</sym>", "<type>hotspot</type>", f"<sat>{n % 12}</sat>", f"<hdop>{n % 30 / 10}</hdop>"]
    return parts


def _regular(name: str, n: int, latitude: str, longitude: str, time: str) -> str:
    return f'<{name} lat="{latitude}" lon="{longitude}">{"".join(_inner(name, n, time))}</{name}>\n'


def _single_quoted(name: str, n: int, latitude: str, longitude: str, time: str) -> str:
    return f"<{name} lat='{latitude}' lon='{longitude}'>{''.join(_inner(name, n, time))}</{name}>\n"


def _ordinary(name: str, n: int, latitude: str, longitude: str, time: str) -> str:
    parts = _inner(name, n, time)
    if name == "wpt":
        parts[2] = f"<name>{('Spot', 'A &amp; B', '<![CDATA[<log>]]>', 'caf&#233;')[n % 4]} {n}</name>"
    if n % 5 == 0:
        parts = parts[::-1]
    if n % 7 == 0:
        del parts[0]
    if n % 50 == 0:
        parts.insert(0, "<!-- seen twice -->")
    parts.append(
        f"<extensions><m:camera><m:pitch>-{n % 90}</m:pitch></m:camera><m:speed>{n % 20}</m:speed></extensions>"
    )
    body = "".join(f"\n  {part}" for part in parts)
    return f'<{name} lat="{latitude}" lon="{longitude}">{body}\n</{name}>\n'


def write_file(path: Path, rows: int, *, name: str, kind: str) -> None:
    """Write a file of waypoints, or of one track."""
    points = "".join(make_points(rows, name=name, kind=kind))
    body = points if name == "wpt" else f"<trk><name>edge</name><trkseg>\n{points}</trkseg></trk>"
    path.write_text(f'<?xml version="1.0" encoding="UTF-8"?>\n{_ROOT}{body}</gpx>\n', encoding="utf-8")


def time_all(programs: dict[str, str], path: Path, layer: str) -> dict[str, tuple[float, float]]:
    """Run each program several times, in turn; return its best seconds and the peak memory in MB."""
    best: dict[str, tuple[float, float]] = {}
    for _ in range(REPEATS):
        for name, program in programs.items():
            with tempfile.TemporaryDirectory() as folder:
                command = [sys.executable, "-c", _PRELUDE + program, str(path), f"{folder}/out.gpx", layer]
                done = subprocess.run(command, capture_output=True, text=True, check=False)
            if done.returncode:
                raise SystemExit(f"{name} failed:\n{done.stderr}")
            seconds, memory = json.loads(done.stdout.splitlines()[-1])
            best[name] = min(best.get(name, (float("inf"), 0.0)), (seconds, memory))
    return best


def report(title: str, best: dict[str, tuple[float, float]]) -> None:
    """Print the figures of one job and how many times as fast as the peer each is."""
    peer = next(seconds for name, (seconds, _) in best.items() if "pyogrio" in name)
    print(title)
    for name, (seconds, memory) in best.items():
        print(f"  {name:24} {seconds:7.3f} s  {memory:6.0f} MB  {peer / seconds:5.2f} times the peer")


def main() -> None:
    """Time reading and writing of tracks and waypoints."""
    rows = int(sys.argv[1]) if len(sys.argv) > 1 else 100_000
    with tempfile.TemporaryDirectory() as folder:
        for name, layer in (("trkpt", "track_points"), ("wpt", "waypoints")):
            for kind in ("regular", "ordinary", "parser alone"):
                path = Path(folder) / "in.gpx"
                write_file(path, rows, name=name, kind=kind)
                size = path.stat().st_size / 1e6
                report(f"read {rows} {layer}, {kind}, {size:.0f} MB", time_all(READERS, path, layer))
                if kind == "regular":
                    report(f"write {rows} {layer}", time_all(WRITERS, path, layer))


if __name__ == "__main__":
    main()
