"""Print how well the merge does on simulated fires, as a table: ``python -m tests.merge.figures --seeds 0 20``.

The seeds from 0 to 19 are for reporting; the merge is developed on others, from 1000 up. All fires are invented. What
the solver that is told all and complete linkage reach does not change with the merge: ``--peers FILE`` keeps it.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from scipy.cluster.hierarchy import fcluster, linkage

from exchange.merge import Earlier, Merged, merge_detections
from exchange.model import Detections
from exchange.model.spot_number import find_aliases
from tests.merge.simulator.regimes import REGIMES
from tests.merge.simulator.scoring import (
    PairScore,
    count_error,
    position_errors,
    score_pairs,
    share_of_numbers_kept,
    share_of_numbers_standing,
    shares_flagged,
)
from tests.merge.simulator.simulate import FRAME, Simulated, simulate
from tests.merge.simulator.told import Whole, group_told

LINKAGE_DISTANCES_M = np.arange(0.5, 20.25, 0.25)
"""The best of them for each fire is what complete linkage is credited with."""

COLUMNS = (
    "regime",
    "F1, ours",
    "F1, told all",
    "F1, complete linkage after the true shifts, best distance",
    "precision / recall, ours",
    "adjusted Rand, ours",
    "count error",
    "position error m",
    "shift error m",
    "numbers kept",
    "numbers kept, true spots only",
    "numbers kept, list only",
    "numbers standing",
    "standing or an alias",
    "spots flagged",
    "wrong / right spots flagged",
    "runs flagged",
    "s",
)


@dataclass(frozen=True)
class Figures:
    """Hold what one fire gave."""

    ours: PairScore
    told: float
    linked: float
    count_error: float
    position_m: float
    shift_m: float
    kept: float
    kept_of_true: float
    kept_by_list: float
    standing: float
    standing_or_alias: float
    flagged: float
    wrong_flagged: float
    right_flagged: float
    is_flagged: bool
    seconds: float


class Peers:
    """Know what the peers reach on each fire: from a file, or worked out once and kept there."""

    def __init__(self, path: Path | None) -> None:
        self.path = path
        self.known: dict[str, list[float]] = json.loads(path.read_text()) if path and path.exists() else {}

    def score(self, name: str, seed: int) -> tuple[float, float]:
        """Return the F1 of the solver that is told all, and of complete linkage at its best distance; NaN unasked."""
        if not self.path:
            return np.nan, np.nan
        if f"{name} {seed}" not in self.known:
            fire = simulate(name, seed)
            linked = linkage(fire.unshifted_places(), "complete")
            labels = (fcluster(linked, distance, "distance") for distance in LINKAGE_DISTANCES_M)
            best = max(score_pairs(fire.truth, label).f1 for label in labels)
            self.known[f"{name} {seed}"] = [score_pairs(fire.truth, group_told(fire)).f1, best]
            self.path.write_text(json.dumps(self.known))
        told, best = self.known[f"{name} {seed}"]
        return told, best


def measure(name: str, seed: int, peers: Peers) -> Figures:
    """Merge one fire and score it."""
    fire = simulate(name, seed)
    told, linked = peers.score(name, seed)
    started = time.perf_counter()
    merged = merge_detections(fire.sightings)
    seconds = time.perf_counter() - started
    before = merge_detections(fire.sightings_of(len(fire.flights) - 1))
    after = merge_detections(fire.sightings, onto=before.spots)
    kept, kept_of_true = kept_when_all_is_given_again(fire, before, after)
    found, earlier = numbers_of(merged, fire), before.sightings.extra["spot"]
    flags = merged.spots.extra["flags"] if "flags" in merged.spots.extra else np.full(len(merged.spots), "", object)
    wrong, right = shares_flagged(fire.truth, found, set(merged.spots.id[flags != ""].tolist()))
    places = np.column_stack(FRAME.to_metres(merged.spots.longitude, merged.spots.latitude))
    rows = dict(zip(merged.spots.id.tolist(), range(len(merged.spots)), strict=True))
    errors = position_errors(fire.truth, np.array([rows[number] for number in found]), places, fire.spots.places)
    return Figures(
        ours=score_pairs(fire.truth, found),
        told=told,
        linked=linked,
        count_error=count_error(fire.truth, found),
        position_m=float(np.median(errors)) if len(errors) else np.nan,
        shift_m=shift_error(merged, fire),
        kept=kept,
        kept_of_true=kept_of_true,
        kept_by_list=kept_by_the_list_alone(fire, before),
        standing=share_of_numbers_standing(earlier, numbers_of(after, fire)[: len(earlier)]),
        standing_or_alias=share_of_numbers_standing(
            earlier, numbers_of(after, fire)[: len(earlier)], find_aliases(after.spots)
        ),
        flagged=merged.report.flagged / max(len(merged.spots), 1),
        wrong_flagged=wrong,
        right_flagged=right,
        is_flagged=merged.report.flagged > 0,
        seconds=seconds,
    )


def numbers_of(merged: Merged, fire: Simulated) -> Whole:
    """Return the number of each sighting of a fire that was given whole."""
    return merged.sightings.extra["spot"][: len(fire.sightings)]


def shift_error(merged: Merged, fire: Simulated) -> float:
    """Return the mean length in metres by which the shifts taken off miss the true ones, their common part aside."""
    taken = [[merged.sightings.extra[f"shift_{axis}_m"] for axis in ("east", "north")]]
    of_rows = np.nan_to_num(np.array(taken[0], np.float64).T[: len(fire.sightings)])
    first = [int(np.argmax(fire.flight == number)) for number in range(len(fire.flights))]
    off = of_rows[first] - np.array([flight.shift for flight in fire.flights])
    return float(np.hypot(*(off - off.mean(axis=0)).T).mean())


def kept_when_all_is_given_again(fire: Simulated, before: Merged, after: Merged) -> tuple[float, float]:
    """Return the share of numbers kept when the last sortie is added and all files are given again.

    Of all, and of true spots alone: a false alarm that a true spot takes in loses its number by any rule.
    """
    found = before.sightings.extra["spot"]
    truth, numbers = fire.truth[: len(found)], numbers_of(after, fire)
    return (
        share_of_numbers_kept(truth, found, fire.truth, numbers),
        share_of_numbers_kept(truth, found, fire.truth, numbers, with_false=False),
    )


def kept_by_the_list_alone(fire: Simulated, before: Merged) -> float:
    """Return the share of numbers kept when only the last sortie and the list are given, no earlier sighting."""
    last = len(fire.flights) - 1
    new = fire.sightings.take(np.flatnonzero(fire.flight == last))
    after = merge_detections(new, onto=Earlier(spots=before.spots))
    earlier = np.flatnonzero(fire.flight < last)
    found = before.sightings.extra["spot"][: len(earlier)]
    standing = _follow_aliases(found, after.spots)
    all_found = np.concatenate([standing, after.sightings.extra["spot"][: len(new)]])
    all_truth = np.concatenate([fire.truth[earlier], fire.truth[fire.flight == last]])
    return share_of_numbers_kept(fire.truth[earlier], found, all_truth, all_found)


def _follow_aliases(numbers: Whole, spots: Detections) -> Whole:
    became = find_aliases(spots)
    return np.array([became.get(number, number) for number in numbers], dtype=object)


def table_row(name: str, figures: Sequence[Figures]) -> str:
    """Return one regime's row of the table: median / worst over the seeds."""
    ours = [each.ours for each in figures]
    cells = [
        name,
        _spread([score.f1 for score in ours]),
        _spread([each.told for each in figures]),
        _spread([each.linked for each in figures]),
        f"{np.median([s.precision for s in ours]):.3f} / {np.median([s.recall for s in ours]):.3f}",
        _spread([score.adjusted_rand for score in ours]),
        f"{np.median([each.count_error for each in figures]):+.3f}",
        f"{np.nanmedian([each.position_m for each in figures]):.2f}",
        f"{np.median([each.shift_m for each in figures]):.2f}",
        _spread([each.kept for each in figures]),
        _spread([each.kept_of_true for each in figures]),
        _spread([each.kept_by_list for each in figures]),
        _spread([each.standing for each in figures]),
        _spread([each.standing_or_alias for each in figures]),
        f"{np.median([each.flagged for each in figures]):.3f}",
        f"{_mean([each.wrong_flagged for each in figures])} / {_mean([each.right_flagged for each in figures])}",
        f"{sum(each.is_flagged for each in figures)} of {len(figures)}",
        f"{np.median([each.seconds for each in figures]):.2f}",
    ]
    return _line(cells)


def _spread(values: Sequence[float]) -> str:
    return f"{np.median(values):.3f} / {min(values):.3f}"


def _mean(values: Sequence[float]) -> str:
    known = [value for value in values if not np.isnan(value)]
    return f"{np.mean(known):.2f}" if known else "-"


def _line(cells: Iterable[str]) -> str:
    return "| " + " | ".join(cells) + " |"


def main(arguments: Sequence[str] | None = None) -> None:
    """Print the table, a row as soon as it is known."""
    parser = argparse.ArgumentParser(description="Score the merge on simulated fires.")
    parser.add_argument("--seeds", nargs=2, type=int, default=(0, 20), metavar=("FIRST", "COUNT"))
    parser.add_argument("--regime", action="append", choices=list(REGIMES), help="this one only; may be repeated")
    parser.add_argument(
        "--peers", type=Path, metavar="FILE", help="work out what the peers reach, or take it from here"
    )
    parser.add_argument("--only-peers", action="store_true", help="work out the peers and print no table")
    options = parser.parse_args(arguments)
    first, count = options.seeds
    names, seeds, peers = options.regime or list(REGIMES), range(first, first + count), Peers(options.peers)
    if options.only_peers:
        for name in names:
            _say(f"{name} {[peers.score(name, seed) for seed in seeds]}")
        return
    _say(_line(COLUMNS))
    _say("|" + "---|" * len(COLUMNS))
    for name in names:
        _say(table_row(name, [measure(name, seed, peers) for seed in seeds]))


def _say(text: str) -> None:
    sys.stdout.write(text + "\n")
    sys.stdout.flush()


if __name__ == "__main__":
    main()
