"""What a trace made of one case, held against the truth and against the solver that is told the labels."""

from __future__ import annotations

from dataclasses import dataclass

from exchange.perimeter import Traced, TraceOptions, trace_perimeter
from tests.perimeter.simulator.case import Case, make_case
from tests.perimeter.simulator.scoring import Score, score
from tests.perimeter.simulator.told import told_area

WRONG_TIMES_TOLD, WRONG_BEYOND_M = 2.0, 1.0
"""A ring is wrong when its mean edge distance is over this many times the told one and this much more."""


@dataclass(frozen=True)
class Outcome:
    """Hold what came of one case.

    Attributes
    ----------
    case, traced
        The log and what the trace handed back.
    ours
        Against the truth; ``None`` where the trace refused.
    told
        What the told solver reaches; ``None`` for a log that does not hold the edge.
    """

    case: Case
    traced: Traced
    ours: Score | None
    told: Score | None

    @property
    def codes(self) -> set[str]:
        """The codes of all findings."""
        return {finding.code for finding in (*self.traced.refusals, *self.traced.flags)}

    @property
    def is_refused(self) -> bool:
        """Whether there is no perimeter."""
        return self.traced.perimeter is None

    @property
    def is_flagged(self) -> bool:
        """Whether there is one, with a flag."""
        return not self.is_refused and bool(self.traced.flags)

    @property
    def ratio(self) -> float:
        """Our mean edge distance over the told one; NaN without both."""
        return self.ours.mean_m / self.told.mean_m if self.ours and self.told else float("nan")

    @property
    def is_wrong_ring(self) -> bool:
        """Whether a ring came out that is far from the truth, flagged or not."""
        if self.ours is None or self.told is None:
            return False
        return self.ours.mean_m > WRONG_TIMES_TOLD * self.told.mean_m + WRONG_BEYOND_M

    @property
    def is_silently_wrong(self) -> bool:
        """Whether a wrong ring, or a ring of a log that does not hold one, came out without a flag."""
        if self.is_refused or self.is_flagged:
            return False
        return self.is_wrong_ring if self.case.scenario.is_solvable else True

    @property
    def has_right_reason(self) -> bool:
        """Whether one of the reasons that the scenario asks for was told."""
        return bool(self.codes & self.case.scenario.reasons)


def trace_case(name: str, seed: int) -> Outcome:
    """Make a case, trace it and score it."""
    case = make_case(name, seed)
    traced = trace_perimeter(case.tracks, options=TraceOptions(**case.options))
    told = score(told_area(case), case.truth) if case.scenario.is_solvable else None
    found = None
    if traced.perimeter is not None:
        found = score(case.place.area_to_metres(traced.perimeter.geometry), case.truth)
    return Outcome(case, traced, found, told)
