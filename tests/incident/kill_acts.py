"""Kill a process at random moments of acts, and see that each act is there wholly or not at all.

``python tests/incident/kill_acts.py KILLS SEED`` prints how the kills fell, and fails on the first broken ledger. One
process does the acts after another; each is killed by SIGKILL at a random moment between its first and last act.
"""

from __future__ import annotations

import json
import os
import random
import signal
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

# What the acts import on first use is loaded here, once, and not in every process that is killed.
import scipy.spatial
import shapely

import exchange.merge.coverage
import exchange.merge.sortie_names
import exchange.status
from exchange.ledger.check import check_ledger
from exchange.ledger.database import copy_path
from tests.incident.incident_kit import Incident, sortie_text

LOADED = (scipy.spatial, shapely, exchange.merge.coverage, exchange.merge.sortie_names, exchange.status)

SPOTS = 150
ACTS = ("start", "add", "merge", "add", "merge", "reconcile", "withdraw", "add", "merge", "withdraw", "reconcile")


def do_acts(folder: Path) -> None:
    """Do every act in order."""
    places = [(20.0 * (spot % 20), 20.0 * (spot // 20)) for spot in range(SPOTS)]
    near = [(east + 0.5, north) for east, north in places[::2]]
    incident = Incident(folder)
    incident.add("d1.csv", sortie_text(places, sortie="D-1"))
    incident.merge()
    incident.add("n1.csv", sortie_text([*near, (900.0, 0.0)], sortie="N-1", hour=6))
    incident.merge()
    report = "".join(f"H-{spot:03d},out,2026-08-13T12:00:00Z,Juniper\n" for spot in range(1, 60))
    incident.reconcile("crew.csv", f"Number,Status,Time,By\n{report}")
    incident.withdraw("n1.csv")
    incident.add("s1.csv", sortie_text(near, sortie="S-1", hour=14))
    incident.merge()
    incident.withdraw("crew.csv")
    incident.reconcile("later.csv", "Number,Status,Time,By\nH-001,hot,2026-08-13T15:00:00Z,Alder\n")


def run(folder: Path) -> int:
    """Do the acts in a process of its own; return its number."""
    child = os.fork()
    if not child:
        status = 1
        try:
            do_acts(folder)
            status = 0
        finally:
            os._exit(status)
    return child


def describe(path: Path, act: int) -> str:
    """Return everything that a ledger says after an act, as one text."""
    incident = object.__new__(Incident)
    incident.folder, incident.path = path.parent, path
    state = incident.state(at_act=act)
    rows = [[row.as_dict(), row.extra] for row in (*state.packet.detections, *state.packet.notes)]
    return json.dumps([state.spots, state.members, state.aliases, state.numbers, rows], default=str)


def kill_once(folder: Path, moment: float, expected: list[str]) -> int:
    """Kill the acts at a moment; return how many were done. Fails where one was done by half."""
    child = run(folder)
    time.sleep(moment)
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    path = folder / "fire.gpkg"
    if not path.exists():
        return 0
    checked = check_ledger(path)
    if checked.problems:
        raise SystemExit(f"killed after {moment:.3f} s: {[str(problem) for problem in checked.problems]}")
    if _strip(describe(path, checked.acts), folder) != expected[checked.acts - 1]:
        raise SystemExit(f"killed after {moment:.3f} s: act {checked.acts} is there by half")
    if copy_path(path).exists() and check_ledger(copy_path(path)).problems:
        raise SystemExit(f"killed after {moment:.3f} s: the copy is broken")
    return checked.acts


def _strip(text: str, folder: Path) -> str:
    return text.replace(str(folder), "")


def main(kills: int, seed: int) -> None:
    """Do the acts once in peace, then kill them again and again."""
    moments = random.Random(seed)  # noqa: S311  # no secret
    # In memory where there is such a folder: a killed process does not lose what it has handed to the system.
    memory = "/dev/shm" if Path("/dev/shm").is_dir() else None  # noqa: S108  # a folder of random name in it
    with tempfile.TemporaryDirectory(dir=memory) as name:
        peace = Path(name) / "peace"
        peace.mkdir()
        began = time.perf_counter()
        _, status = os.waitpid(run(peace), 0)
        took = time.perf_counter() - began
        if status or check_ledger(peace / "fire.gpkg").acts != len(ACTS):
            raise SystemExit("the acts do not even end in peace")
        expected = [_strip(describe(peace / "fire.gpkg", act), peace) for act in range(1, len(ACTS) + 1)]
        done: Counter[int] = Counter()
        for kill in range(kills):
            folder = Path(name) / f"kill{kill}"
            folder.mkdir()
            done[kill_once(folder, moments.uniform(0.0, took), expected)] += 1
    print(json.dumps({"kills": kills, "seed": seed, "done_when_killed": dict(sorted(done.items()))}))  # noqa: T201  # a program of its own


if __name__ == "__main__":
    main(int(sys.argv[1]), int(sys.argv[2]))
