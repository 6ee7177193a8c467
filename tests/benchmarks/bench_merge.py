"""Time the merge side by side with a general clusterer: ``python -m tests.benchmarks.bench_merge [sightings ...]``.

The peer is scikit-learn's DBSCAN with ``min_samples=1`` at the same distance (``pip install scikit-learn``; nothing
else here needs it). It chains, and does none of the rest. Every run is a fresh process, ours and the peer in turn,
warmed up on a small fire; the best of several is compared. The grouping by accuracy is that of positions whose shifts
are still in them, which is harder than what the merge groups. All data is made here and invented.
"""

from __future__ import annotations

import json
import subprocess
import sys

REPEATS = 3
WITHIN_M = 3.0
_PRELUDE = """
import json, resource, sys, time
import numpy as np
from exchange.merge import MergeOptions, merge_detections
from exchange.merge.grouping import group_sightings
from exchange.merge.sightings import order_sightings
from tests.benchmarks.season import make_season
count, within_m = int(sys.argv[1]), float(sys.argv[2])
seen = make_season(count)
small = order_sightings(make_season(2000), accuracy_m=2.0)
def start():
    return time.perf_counter(), time.process_time()
def report(started, groups):
    wall, processor = time.perf_counter() - started[0], time.process_time() - started[1]
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(json.dumps([wall, processor, peak, groups, len(seen)]))
"""
_PART = "part = order_sightings(seen, accuracy_m=2.0)\n"
JOBS = {
    "ours, grouping by distance": _PRELUDE
    + _PART
    + "group_sightings(small, small.east, small.north, small.variance, within_m=within_m)\n"
    + "t = start(); found = group_sightings(part, part.east, part.north, part.variance, within_m=within_m)\n"
    + "report(t, int(found.group.max()) + 1)",
    "ours, grouping by accuracy": _PRELUDE
    + _PART
    + "group_sightings(small, small.east, small.north, small.variance, within_m=np.nan)\n"
    + "t = start(); found = group_sightings(part, part.east, part.north, part.variance, within_m=np.nan)\n"
    + "report(t, int(found.group.max()) + 1)",
    "ours, the whole merge": _PRELUDE
    + "merge_detections(make_season(2000)); t = start(); merged = merge_detections(seen); report(t, len(merged.spots))",
    "ours, the merge, no shifts": _PRELUDE
    + "options = MergeOptions(shift='none')\n"
    + "merge_detections(make_season(2000), options=options)\n"
    + "t = start(); merged = merge_detections(seen, options=options); report(t, len(merged.spots))",
    "DBSCAN": _PRELUDE
    + _PART
    + "from sklearn.cluster import DBSCAN\n"
    + "places = np.column_stack([part.east, part.north])\n"
    + "DBSCAN(eps=within_m, min_samples=1).fit_predict(places[:2000])\n"
    + "t = start(); labels = DBSCAN(eps=within_m, min_samples=1).fit_predict(places); report(t, int(labels.max()) + 1)",
}


def time_once(code: str, count: int) -> list[float]:
    """Run one job in a fresh process; return seconds, seconds of processor, peak megabytes, groups and sightings."""
    command = [sys.executable, "-c", code, str(count), str(WITHIN_M)]
    answer = subprocess.run(command, capture_output=True, text=True, check=False)  # own code
    if answer.returncode:
        raise SystemExit(answer.stderr)
    found: list[float] = json.loads(answer.stdout.splitlines()[-1])
    return found


def compare(count: int) -> dict[str, float]:
    """Print each job's best times, its peak and how it compares with the peer; return the best seconds."""
    runs: dict[str, list[list[float]]] = {name: [] for name in JOBS}
    for _ in range(REPEATS if count <= 200_000 else 2):
        for name, code in JOBS.items():
            runs[name].append(time_once(code, count))
    best = {name: [min(column) for column in zip(*times, strict=True)] for name, times in runs.items()}
    print(f"\n{best['DBSCAN'][4]:,.0f} sightings, {WITHIN_M:g} m")
    for name, (seconds, processor, peak, groups, _) in best.items():
        ratio = best["DBSCAN"][0] / seconds
        print(
            f"  {name:28} {seconds:8.3f} s {processor:8.3f} s {peak:7.0f} MB {groups:9,.0f} groups"
            f"   {ratio:5.2f} times as fast as DBSCAN"
        )
    for index, measured in enumerate(("seconds", "seconds of processor")):
        whole = best["ours, the whole merge"][index] / best["ours, grouping by accuracy"][index]
        print(f"  the whole merge takes {whole:.2f} times the {measured} of the grouping by accuracy")
    return {name: values[0] for name, values in best.items()}


def main(counts: list[int]) -> None:
    """Compare at each size, and print how the times grow."""
    before: tuple[int, dict[str, float]] | None = None
    for count in counts:
        seconds = compare(count)
        if before:
            growth = {name: seconds[name] / before[1][name] for name in seconds}
            told = ", ".join(f"{name} {factor:.1f}" for name, factor in growth.items())
            print(f"  from {before[0]:,} to {count:,} ({count / before[0]:.0f} times as many) times grow by: {told}")
        before = count, seconds


if __name__ == "__main__":
    main([int(word) for word in sys.argv[1:]] or [100_000, 1_000_000])
