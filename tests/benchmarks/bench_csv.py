"""Time CSV side by side with the general readers and writers: ``python tests/benchmarks/bench_csv.py [rows]``.

Every run is a fresh process, ours and the peers in turn; the best of several is compared. Reading is into a packet
and writing from one, escaping included. All data is made here and invented.
"""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
from pathlib import Path

REPEATS = 5
_PRELUDE = """
import json, resource, sys, time
path, target = sys.argv[1], sys.argv[2]
def start():
    return time.perf_counter(), time.process_time()
def report(started):
    wall, processor = time.perf_counter() - started[0], time.process_time() - started[1]
    print(json.dumps([wall, processor, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024]))
"""
_HOST = """
from exchange.formats.reading import read
from exchange.formats.writing import write
from exchange.testing import host_with
from exchange_csv.format import CsvFormat
import exchange_csv.read, exchange_csv.write
import pandas, pyarrow.csv, pyarrow.compute
host = host_with(CsvFormat())
"""
_FRAME = "import pyogrio, pyarrow.csv\n"

READERS = {
    "ours": _HOST + "t = start(); packet = read(path, host=host); assert len(packet.detections); report(t)",
    "pyogrio.read_arrow": _FRAME + "t = start(); pyogrio.read_arrow(path); report(t)",
    "pyogrio.read_dataframe": _FRAME + "t = start(); pyogrio.read_dataframe(path); report(t)",
    "pyarrow.csv": "import pyarrow.csv\nt = start(); pyarrow.csv.read_csv(path); report(t)",
    "pyarrow.csv to Python objects": (
        "import pyarrow.csv, pandas\n"
        "t = start()\n"
        "table = pyarrow.csv.read_csv(path)\n"
        "[c.combine_chunks().to_numpy(zero_copy_only=False) for c in table.columns]; report(t)"
    ),
}
WRITERS = {
    "ours": _HOST + "packet = read(path, host=host)\nt = start(); write(packet, target, host=host); report(t)",
    "pyogrio.write_arrow": (
        _FRAME + "import shapely\n"
        "table = pyarrow.csv.read_csv(path)\n"
        "points = shapely.to_wkb(shapely.points(table['longitude'], table['latitude']))\n"
        "table = table.append_column('geometry', pyarrow.array(points, pyarrow.binary()))\n"
        "t = start()\n"
        "pyogrio.write_arrow(table, target, driver='CSV', geometry_name='geometry', geometry_type='Point',"
        " crs='EPSG:4326', layer_options={'GEOMETRY': 'AS_XY'}); report(t)"
    ),
    "pyarrow.csv": (
        "import pyarrow.csv\ntable = pyarrow.csv.read_csv(path)\n"
        "t = start(); pyarrow.csv.write_csv(table, target); report(t)"
    ),
}


def make_table(path: Path, rows: int, *, is_ordinary: bool) -> None:
    """Write a stranger's table of points; an ordinary one has quotes, a decimal comma, gaps and ragged records."""
    separator = ";" if is_ordinary else ","
    words = [
        "number",
        "latitude",
        "longitude",
        "alt_m",
        "temp (F)",
        "time",
        "sortie",
        "status",
        "label",
        "battery",
        "code",
    ]
    words += ["remark"] if is_ordinary else []
    lines = [separator.join(words)]
    for row in range(rows):
        numbers = [
            f"{44.5 + row * 1e-6:.6f}",
            f"{-114.2 - row * 1e-6:.6f}",
            f"{1500 + row % 97}.5",
            f"{300 + row % 211}.25",
        ]
        moment = f"2026-08-14T{row // 3600 % 24:02d}:{row // 60 % 60:02d}:{row % 60:02d}Z"
        cells = [f"{row:06d}", *numbers, moment, f"S{row % 5}", "hot", f"spot {row}", str(row % 100), f"{row % 7:03d}"]
        if is_ordinary:
            cells[1:5] = [cell.replace(".", ",") for cell in cells[1:5]]
            cells += [f'"by the ""old"" road; {row}"' if row % 3 else ""]
            cells = cells[:-1] if row % 1000 == 999 else cells
        lines.append(separator.join(cells))
    path.write_text("\r\n".join(lines) + "\r\n", encoding="utf-8")


def time_once(code: str, path: Path, folder: Path) -> tuple[float, float, float]:
    """Run one reader or writer in a fresh process; return seconds, seconds of processor and peak megabytes."""
    target = folder / "written.csv"
    target.unlink(missing_ok=True)
    command = [sys.executable, "-c", _PRELUDE + code, str(path), str(target)]
    answer = subprocess.run(command, capture_output=True, text=True, check=False)  # own code
    if answer.returncode:
        raise SystemExit(answer.stderr)
    seconds, processor, megabytes = json.loads(answer.stdout.splitlines()[-1])
    return seconds, processor, megabytes


def compare(title: str, jobs: dict[str, str], path: Path, folder: Path) -> None:
    """Print for each job its best times, its peak, and how ours compares: by the clock and by the processor."""
    runs: dict[str, list[tuple[float, float, float]]] = {name: [] for name in jobs}
    for _ in range(REPEATS if path.stat().st_size < 50e6 else 3):
        for name, code in jobs.items():
            runs[name].append(time_once(code, path, folder))
    best = {name: [min(column) for column in zip(*times, strict=True)] for name, times in runs.items()}
    print(f"\n{title} ({path.stat().st_size / 1e6:.0f} MB)")
    for name, (seconds, processor, peak) in best.items():
        ratios = f"{seconds / best['ours'][0]:5.2f} by the clock, {processor / best['ours'][1]:5.2f} by the processor"
        print(f"  {name:32} {seconds:7.3f} s {processor:7.3f} s {peak:6.0f} MB   ours is faster {ratios}")


def main(rows: int) -> None:
    """Make the files and compare."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        regular, ordinary = folder / "regular.csv", folder / "ordinary.csv"
        make_table(regular, rows, is_ordinary=False)
        make_table(ordinary, rows, is_ordinary=True)
        compare(f"reading {rows} rows, a regular table", READERS, regular, folder)
        general = {name: code for name, code in READERS.items() if not name.startswith("pyarrow")}
        compare(f"reading {rows} rows, an ordinary table", general, ordinary, folder)
        compare(f"writing {rows} rows", WRITERS, regular, folder)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 100_000)
