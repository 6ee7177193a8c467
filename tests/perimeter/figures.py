"""Print the figures by scenario as Markdown: ``python -m tests.perimeter.figures [--seeds 0-19] [SCENARIO...]``.

Seeds 0-19 are for reporting. Whoever changes the computation develops on seeds from 1000 on.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence

import numpy as np

from tests.perimeter.simulator.outcome import Outcome, trace_case
from tests.perimeter.simulator.scenarios import SCENARIOS

_SOLVABLE_HEAD = (
    "scenario", "IoU", "told", "mean edge m", "told", "95 % edge m", "told", "area error %", "ratio to told",
    "flagged", "refused", "wrong, exit 0",
)  # fmt: skip
_IMPOSSIBLE_HEAD = ("impossible scenario", "refused", "flagged", "right reason", "silent")


def main() -> None:
    """Trace every case and print two tables: logs that hold the edge, and logs that do not."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("scenarios", nargs="*", metavar="SCENARIO")
    parser.add_argument("--seeds", default="0-19", help="first and last seed")
    parser.add_argument("--bad", action="store_true", help="name every case that is wrong, refused or silent")
    arguments = parser.parse_args()
    first, _, last = arguments.seeds.partition("-")
    seeds = range(int(first), int(last or first) + 1)
    done = {}
    for name in arguments.scenarios or SCENARIOS:
        done[name] = [trace_case(name, seed) for seed in seeds]
        print(".", end="", file=sys.stderr, flush=True)
    print(file=sys.stderr)
    solvable = {name: outcomes for name, outcomes in done.items() if SCENARIOS[name].is_solvable}
    impossible = {name: outcomes for name, outcomes in done.items() if not SCENARIOS[name].is_solvable}
    print(f"Seeds {arguments.seeds}. Median / worst; ratio to told: median / 95th percentile.\n")
    _print_table(_SOLVABLE_HEAD, [_solvable_row(name, outcomes) for name, outcomes in solvable.items()])
    _print_table(_IMPOSSIBLE_HEAD, [_impossible_row(name, outcomes) for name, outcomes in impossible.items()])
    if arguments.bad:
        _print_bad([outcome for outcomes in done.values() for outcome in outcomes])


def _solvable_row(name: str, outcomes: Sequence[Outcome]) -> list[str]:
    found = [outcome for outcome in outcomes if outcome.ours is not None]
    counts = [
        sum(outcome.is_flagged for outcome in outcomes),
        sum(outcome.is_refused for outcome in outcomes),
        sum(outcome.is_silently_wrong for outcome in outcomes),
    ]
    if not found:
        return [name, *["-"] * 8, *map(str, counts)]
    ours, told = np.array([outcome.ours for outcome in found]), np.array([outcome.told for outcome in outcomes])
    ratio = np.array([outcome.ratio for outcome in found])
    area = 100 * np.abs(ours[:, 3])
    return [
        name,
        f"{np.median(ours[:, 0]):.3f} / {ours[:, 0].min():.3f}", f"{np.median(told[:, 0]):.3f}",
        f"{np.median(ours[:, 1]):.2f} / {ours[:, 1].max():.2f}", f"{np.median(told[:, 1]):.2f}",
        f"{np.median(ours[:, 2]):.1f} / {ours[:, 2].max():.1f}", f"{np.median(told[:, 2]):.1f}",
        f"{np.median(area):.2f} / {area.max():.2f}",
        f"{np.median(ratio):.2f} / {np.percentile(ratio, 95):.2f}",
        *map(str, counts),
    ]  # fmt: skip


def _impossible_row(name: str, outcomes: Sequence[Outcome]) -> list[str]:
    counts = [
        sum(outcome.is_refused for outcome in outcomes),
        sum(outcome.is_flagged for outcome in outcomes),
        sum(outcome.has_right_reason for outcome in outcomes),
        sum(outcome.is_silently_wrong for outcome in outcomes),
    ]
    return [name, *(f"{count} of {len(outcomes)}" for count in counts)]


def _print_table(head: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
    if rows:
        for row in (head, ["---"] * len(head), *rows):
            print(f"| {' | '.join(row)} |")
        print()


def _print_bad(outcomes: Sequence[Outcome]) -> None:
    for outcome in outcomes:
        case, solvable = outcome.case, outcome.case.scenario.is_solvable
        is_far = outcome.is_wrong_ring or outcome.ratio > 1.5
        if (outcome.is_refused or is_far) if solvable else not outcome.has_right_reason:
            kind = "silent" if outcome.is_silently_wrong else "refused" if outcome.is_refused else "far"
            print(f"{case.name} {case.seed}: {kind}, ratio {outcome.ratio:.2f}, {sorted(outcome.codes)}")


if __name__ == "__main__":
    main()
