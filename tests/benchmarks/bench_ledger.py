"""Time the acts on a ledger as it grows: ``python tests/benchmarks/bench_ledger.py [sightings ...]``.

Each act runs in a fresh process; told are its seconds and its peak memory. For every size the same points are also
written to a plain GeoPackage by pyogrio (``write_arrow``, without index), from a table in memory: the peer of adding,
which besides reads the file, logs, seals and copies. All data is made here and invented.
"""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np

SIGHTINGS_A_SPOT = 5
_PRELUDE = """
import json, resource, sys, time
from pathlib import Path
folder = Path(sys.argv[1]); ledger = folder / "fire.gpkg"
from exchange.formats.host import Host
from exchange.formats.reading import as_input
host = Host.with_installed_plugins()
def report(started):
    wall, processor = time.perf_counter() - started[0], time.process_time() - started[1]
    print(json.dumps([wall, processor, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024]))
def start():
    return time.perf_counter(), time.process_time()
"""
ACTS = {
    "add": (
        "from exchange.incident.adding import add_files\nfrom exchange.ledger.act import start_ledger\n"
        "start_ledger(ledger, incident='Marrow Flat')\n"
        "t = start(); add_files(ledger, [as_input(folder / 'sortie.csv')], host=host); report(t)"
    ),
    "merge": (
        "from exchange.incident.merging import merge_ledger\nfrom exchange.merge import MergeOptions\n"
        "t = start(); merge_ledger(ledger, options=MergeOptions(shift='none', accuracy_m=4.0)); report(t)"
    ),
    "merge again": (
        "from exchange.incident.merging import merge_ledger\nfrom exchange.merge import MergeOptions\n"
        "t = start(); merge_ledger(ledger, options=MergeOptions(shift='none', accuracy_m=4.0)); report(t)"
    ),
    "reconcile": (
        "from exchange.incident.reconciling import reconcile_files\n"
        "t = start(); reconcile_files(ledger, [as_input(folder / 'crew.csv')], host=host); report(t)"
    ),
    "show": (
        "from exchange.incident.showing import report_shown, show_ledger\n"
        "t = start(); report_shown(show_ledger(ledger)); report(t)"
    ),
    "export": (
        "from exchange.incident.exporting import export_ledger\n"
        "t = start(); packet = export_ledger(ledger, layers=('sightings',)); report(t)"
    ),
    "check": (
        "from exchange.ledger.check import check_ledger\n"
        "t = start(); assert not check_ledger(ledger).problems; report(t)"
    ),
    "withdraw": (
        "from exchange.incident.withdrawing import withdraw_source\n"
        "t = start(); withdraw_source(ledger, 'crew.csv'); report(t)"
    ),
}
PEER = (
    "import numpy, pyarrow.csv, pyogrio, shapely\n"
    "table = pyarrow.csv.read_csv(folder / 'sortie.csv')\n"
    "points = shapely.to_wkb(shapely.points(table['lon'], table['lat']))\n"
    "table = table.append_column('geometry', pyarrow.array(points, pyarrow.binary()))\n"
    "t = start(); pyogrio.write_arrow(table, folder / 'peer.gpkg', driver='GPKG', geometry_name='geometry',"
    " geometry_type='Point', crs='EPSG:4326', layer_options={'SPATIAL_INDEX': 'NO'}); report(t)"
)


def make_files(folder: Path, sightings: int) -> None:
    """Write a sortie table in which each spot is seen several times by sorties of its own, and a crew's reports."""
    random = np.random.default_rng(2611)
    count = sightings // SIGHTINGS_A_SPOT
    side = int(np.ceil(np.sqrt(count)))
    with (folder / "sortie.csv").open("w", encoding="utf-8") as table:
        table.write("lat,lon,temp (C),time,sortie,aircraft,accuracy_m,battery\n")
        for sortie in range(SIGHTINGS_A_SPOT):
            offsets = random.normal(0.0, 5e-6, (count, 2)).tolist()
            for spot, (east, north) in enumerate(offsets):
                latitude, longitude = 44.0 + spot // side * 3e-4 + north, -115.0 + spot % side * 3e-4 + east
                time = f"2026-08-{13 + sortie:02d}T{spot // 3600 % 24:02d}:{spot // 60 % 60:02d}:{spot % 60:02d}Z"
                cells = f"{latitude:.7f},{longitude:.7f},{300 + spot % 211},{time},S-{sortie},Dipper,4,{spot % 100}"
                table.write(f"{cells}\n")
    words = ("hot", "working", "recheck", "out")
    lines = [f"H-{spot + 1:03d},{words[spot % 4]},2026-08-20T12:00:00Z,Juniper" for spot in range(sightings // 10)]
    (folder / "crew.csv").write_text("\n".join(["Number,Status,Time,By", *lines]) + "\n", encoding="utf-8")


def time_once(code: str, folder: Path) -> tuple[float, float, float]:
    """Run one act in a fresh process; return seconds, seconds of processor and peak megabytes."""
    command = [sys.executable, "-c", _PRELUDE + code, str(folder)]
    answer = subprocess.run(command, capture_output=True, text=True, check=False)  # own code
    if answer.returncode:
        raise SystemExit(answer.stderr)
    seconds, processor, megabytes = json.loads(answer.stdout.splitlines()[-1])
    return seconds, processor, megabytes


def main(sizes: list[int]) -> None:
    """Do every act at every size."""
    for size in sizes:
        with tempfile.TemporaryDirectory() as name:
            folder = Path(name)
            make_files(folder, size)
            print(f"\n{size:,} sightings, {size // SIGHTINGS_A_SPOT:,} spots, {size // 10:,} reports")
            seconds, processor, peak = time_once(PEER, folder)
            print(f"  {'pyogrio.write_arrow':20} {seconds:8.2f} s {processor:8.2f} s of processor {peak:7.0f} MB")
            for act, code in ACTS.items():
                seconds, processor, peak = time_once(code, folder)
                print(f"  {act:20} {seconds:8.2f} s {processor:8.2f} s of processor {peak:7.0f} MB", flush=True)
            print(f"  the file has {(folder / 'fire.gpkg').stat().st_size / 1e6:.0f} MB")


if __name__ == "__main__":
    main([int(text) for text in sys.argv[1:]] or [10_000, 100_000, 1_000_000])
