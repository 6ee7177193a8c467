"""Time reconciling side by side with general tables: ``python tests/benchmarks/bench_reconcile.py [notes]``.

Ten sightings and one spot stand against each note. Ours puts every mark to its spot by name or place, reads symbol and
comment, and settles each spot with disputes and reopened spots. The peers do less: pandas takes the number out of the
name with one pattern and looks two words up, geopandas joins what has no number to the nearest spot within reach, and
of each spot's notes and sightings the latest is taken. Every run is a fresh process, ours and the peer in turn; the
least processor seconds of several are compared, since other work on a machine falsifies those of the wall clock.
Imports and the making of the data are not timed. All data is made here and invented.
"""

from __future__ import annotations

import json
import subprocess
import sys

REPEATS = 3
DATA = """
import json, pathlib, sys, time, warnings
import numpy as np
warnings.simplefilter("ignore")
notes = int(sys.argv[1])
spots, sightings = notes, 10 * notes
random = np.random.default_rng(2611)
side = int(np.ceil(spots ** 0.5))
longitude = -114.0 + np.arange(spots) % side * 0.0005
latitude = 44.0 + np.arange(spots) // side * 0.0004
number = np.array([f"H-{k:03d}" for k in range(1, spots + 1)], dtype=object)
morning = np.datetime64("2026-08-14T05:00", "ms")
about = random.integers(0, spots, notes)
kinds = ("H{:03d}", "h-{:d}", "H-{:03d} out", "mark")
name = np.array([kinds[k % 4].format(spot + 1) for k, spot in enumerate(about)], dtype=object)
comments = ("cold to the touch, dug out {}", "still smoking {}", "line around it, needs water {}", "{}")
comment = np.array([comments[k % 4].format(k if k % 3 else "") for k in range(notes)], dtype=object)
symbol = random.choice(np.array(["green circle", "red circle", "orange circle", ""], dtype=object), notes)
jitter = random.normal(0, 2e-5, (2, notes))
told = morning + random.integers(0, 43_200_000, notes)
seen_spot = random.integers(0, spots, sightings)
seen = morning + random.integers(0, 86_400_000, sightings)
def report(parts):
    lines = pathlib.Path("/proc/self/status").read_text().splitlines()
    peak = next(int(line.split()[1]) for line in lines if line.startswith("VmHWM:"))
    print(json.dumps([*parts, peak / 1024]))
"""
OURS = """
from exchange.model import Detections, Packet
from exchange.status import place_returns, settle_status
import pyarrow, pyarrow.compute, pyproj, scipy.spatial
pyarrow.array([""])  # Its first array imports pandas, where that is installed.
listed = Detections(id=number, longitude=longitude, latitude=latitude, status="unchecked")
place = {"longitude": longitude[about] + jitter[0], "latitude": latitude[about] + jitter[1]}
marks = Detections(name=name, note=comment, time=told, extra={"sym": symbol}, **place)
sighted = Detections(id=number[seen_spot], time=seen)
t = time.process_time(); placed = place_returns(Packet(detections=marks), listed); placing = time.process_time() - t
t = time.process_time(); settled = settle_status(listed, placed.notes, sightings=sighted)
report([placing, time.process_time() - t])
"""
PEER = """
import geopandas, pandas as pd
listed = geopandas.GeoDataFrame({"number": number}, geometry=geopandas.points_from_xy(longitude, latitude), crs=4326)
marks = geopandas.GeoDataFrame(
    {"name": name, "text": comment, "sym": symbol, "time": told},
    geometry=geopandas.points_from_xy(longitude[about] + jitter[0], latitude[about] + jitter[1]), crs=4326)
sighted = pd.DataFrame({"number": number[seen_spot], "time": seen})
listed.to_crs(32611)
t = time.process_time()
count = marks["name"].str.extract(r"[hH]-?(\\d+)")[0].astype(float)
marks["number"] = pd.Series(number).reindex(count.fillna(0).astype(int) - 1).to_numpy()
loose = marks[count.isna()].to_crs(32611).drop(columns="number")
near = geopandas.sjoin_nearest(loose, listed.to_crs(32611), max_distance=15)
marks.loc[near.index, "number"] = near["number"]
marks["status"] = marks["sym"].map({"green circle": "out", "red circle": "hot", "orange circle": "working"})
marks.loc[marks["text"].str.contains("smoking", regex=False), "status"] = "hot"
placing = time.process_time() - t
t = time.process_time()
latest = marks.dropna(subset="status").sort_values("time").groupby("number").last()
heat = sighted.groupby("number")["time"].max()
reopened = (heat.reindex(latest.index) > latest["time"]) & (latest["status"] == "out")
report([placing, time.process_time() - t])
"""


def run(program: str, notes: int) -> list[float]:
    """Run one program in a process of its own; return its seconds for both parts and its peak in MB."""
    done = subprocess.run(
        [sys.executable, "-c", DATA + program, str(notes)], capture_output=True, text=True, check=True
    )
    figures: list[float] = json.loads(done.stdout)
    return figures


def main() -> None:
    """Print seconds, peak memory and ratios for a tenth of the notes and for all of them."""
    notes = int(sys.argv[1]) if len(sys.argv) > 1 else 100_000
    for size in (notes // 10, notes):
        best: dict[str, list[float]] = {}
        for _ in range(REPEATS):
            for name, program in (("ours", OURS), ("peers", PEER)):
                figures = run(program, size)
                best[name] = [min(pair) for pair in zip(figures, best.get(name, figures), strict=True)]
        print(f"{size:,} notes, {size:,} spots, {10 * size:,} sightings")
        for part, label in enumerate(("placing", "settling")):
            ours, peers = best["ours"][part], best["peers"][part]
            print(f"  {label:10} ours {ours:7.2f} s   peers {peers:7.2f} s   ratio {ours / peers:5.2f}")
        print(f"  {'peak':10} ours {best['ours'][2]:5.0f} MB   peers {best['peers'][2]:5.0f} MB")


if __name__ == "__main__":
    main()
