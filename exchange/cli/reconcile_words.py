"""What ``exchange reconcile`` says: counts, the status of the list, and what a person must look at."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from exchange.cli.console import SHOWN_PROBLEMS, print_report, say, tell_problems

if TYPE_CHECKING:
    from exchange.model import Detections, Problem
    from exchange.status import Placed, Questions

CAUTION = """What stands in the list is what people reported, no proof that a spot is out. Look before anybody
relies on it; the incident's command, licensed practice and local rules decide."""

_KEYS = {
    "on_spots": "reports on spots",
    "kept_aside": "reports kept aside",
    "nothing_new": "marks that say nothing new",
    "places": "places",
}


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """Hold what came of returned files.

    Attributes
    ----------
    onto
        What they were put onto: the list or the ledger.
    output
        Where the list stands now; ``-`` is standard output.
    placed
        Where the reports were put.
    spots
        The list with its current status.
    questions
        What a person must look at.
    problems
        What could not be read or written as it was.
    """

    onto: str
    output: str
    placed: Sequence[Placed]
    spots: Detections
    questions: Questions
    problems: tuple[Problem, ...]

    @property
    def needs_person(self) -> bool:
        """Whether a person must look at something."""
        return bool(len(self.questions)) or any(problem.needs_person for problem in self.problems)


def tell_outcome(outcome: Outcome) -> None:
    """Say what came of the returns, what a person must look at, and the caution."""
    tell_problems(outcome.problems)
    told = ", ".join(f"{_KEYS[key]}: {count:,}" for key, count in _count_reports(outcome.placed).items() if count)
    where = "standard output" if outcome.output == "-" else outcome.output
    say(f"{where}; {told or 'nothing came back that is new'}")
    say("status: " + ", ".join(f"{count:,} {word}" for word, count in _count_status(outcome.spots).items()))
    for line in outcome.questions.as_lines(SHOWN_PROBLEMS):
        say(line)
    if len(outcome.questions) > SHOWN_PROBLEMS:
        say(f"... and {len(outcome.questions) - SHOWN_PROBLEMS:,} more for a person to look at; --json lists all")
    say(CAUTION)


def report_outcome(outcome: Outcome, files: Sequence[str]) -> None:
    """Print what came of the returns as JSON."""
    report: dict[str, Any] = {
        "version": 1,
        "files": list(files),
        "onto": outcome.onto,
        "output": outcome.output,
        "reports": _count_reports(outcome.placed),
        "status": _count_status(outcome.spots),
        "questions": outcome.questions.as_dicts(),
        "question_counts": outcome.questions.counts(),
        "problems": [problem.as_dict() for problem in outcome.problems],
        "caution": CAUTION,
    }
    print_report(report)


def _count_reports(placed: Sequence[Placed]) -> dict[str, int]:
    applied = sum(int((each.notes.detection != "").sum()) for each in placed)
    counts = (
        applied,
        sum(len(each.notes) for each in placed) - applied,
        sum(each.silent for each in placed),
        sum(each.aside for each in placed),
    )
    return dict(zip(_KEYS, counts, strict=True))


def _count_status(spots: Detections) -> dict[str, int]:
    from exchange.model.priority import STATUS_ORDER

    status = spots.status.tolist()
    counts = {word: status.count(word) for word in STATUS_ORDER} | {"without a status": status.count("")}
    return {word: count for word, count in counts.items() if count}
