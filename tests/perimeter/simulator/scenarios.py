"""Every scenario by name: which effects it has, and what must come of it."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Scenario:
    """Say what happens in a scenario.

    Attributes
    ----------
    effects
        Words that ``case.make_case`` turns into edges, legs and faults.
    acres
        Smallest and largest burn.
    reasons
        Codes of findings one of which must be told; empty where the perimeter can be found.
    """

    effects: frozenset[str]
    acres: tuple[float, float] = (1.0, 5000.0)
    reasons: frozenset[str] = frozenset()

    @property
    def is_solvable(self) -> bool:
        """Whether the log holds enough to tell the edge."""
        return not self.reasons


def _of(effects: str, acres: tuple[float, float] = (1.0, 5000.0)) -> Scenario:
    return Scenario(frozenset(effects.split()), acres)


def _impossible(effects: str, reasons: str, acres: tuple[float, float] = (1.0, 5000.0)) -> Scenario:
    return Scenario(frozenset(effects.split()), acres, frozenset(reasons.split()))


SOLVABLE = {
    "clean": _of(""),
    "transit": _of("transit"),
    "transit_bent": _of("bent"),
    "transit_inside": _of("inside"),
    "transit_inside_bent": _of("inside bent"),
    "ground_wait": _of("transit ground jitter"),
    "hover": _of("hover jitter"),
    "spikes": _of("spikes"),
    "bursts": _of("bursts"),
    "noise_3": _of("noise_3"),
    "noise_quick": _of("quick_noise"),
    "ends_cross": _of("stubs"),
    "lands_elsewhere": _of("transit elsewhere"),
    "duplicates": _of("repeats frozen"),
    "shuffled": _of("shuffled"),
    "clock": _of("clock"),
    "dropouts": _of("dropouts"),
    "doubling_back": _of("doubling_back"),
    "overlap": _of("overlap"),
    "gap": _of("gap"),
    "laps": _of("laps"),
    "look_again": _of("look_again"),
    "figure_eight": _of("waist"),
    "flights_overlap": _of("flights_overlap transit", (5.0, 5000.0)),
    "flights_gap": _of("flights_gap transit", (5.0, 5000.0)),
    "flights_inside": _of("flights_overlap inside bent", (5.0, 5000.0)),
    "island": _of("island transit", (5.0, 5000.0)),
    "island_own_flight": _of("island own_flight transit", (5.0, 5000.0)),
    "islands_two": _of("island two_islands transit", (20.0, 5000.0)),
    "two_fires": _of("two_fires transit"),
    "two_fires_uneven": _of("two_fires uneven transit"),
    "camera_log": _of("camera_log transit", (5.0, 2000.0)),
    "camera_side": _of("camera_side", (10.0, 2000.0)),
    "meridian_180": _of("meridian transit"),
    "high_latitude": _of("arctic transit"),
    "drawn_line": _of("timeless"),
    "drawn_line_transit": _of("timeless transit"),
    "ten_hertz": _of("ten_hertz transit"),
    "fifty_fixes": _of("one_hertz", (1.0, 1.3)),
    "small_spikes": _of("spikes bursts one_hertz", (1.0, 3.0)),
    "small_gap": _of("gap transit", (1.0, 3.0)),
    "transit_spikes": _of("transit spikes bursts"),
    "transit_overlap_look_again": _of("bent overlap look_again"),
    "transit_gap_hover": _of("transit gap hover ground jitter"),
    "laps_look_again": _of("laps look_again transit"),
    "laps_noise_3": _of("laps noise_3 transit"),
    "spikes_dropouts_noise_3": _of("spikes bursts dropouts noise_3"),
    "drawn_line_spikes": _of("timeless transit spikes overlap"),
    "flights_everything": _of(
        "flights_overlap bent ground jitter hover spikes bursts repeats dropouts look_again", (5.0, 5000.0)
    ),
    "island_everything": _of("island bent hover spikes repeats dropouts shuffled overlap", (10.0, 5000.0)),
    "everything": _of(
        "bent ground jitter hover spikes bursts repeats frozen shuffled dropouts doubling_back overlap look_again"
    ),
    "mixed": _of("mixed"),
}
"""Logs that hold the edge: a perimeter must come out, with or without a flag."""

IMPOSSIBLE = {
    "half_ring": _impossible("half_ring", "half-ring open-ring"),
    "half_ring_transit": _impossible("half_ring transit", "half-ring open-ring"),
    "missing_flight": _impossible("missing_flight transit", "missing-flight half-ring open-ring", (5.0, 5000.0)),
    "transit_only": _impossible("transit_only", "transit-only half-ring open-ring"),
    "hover_only": _impossible("hover_only", "hover-only"),
    "survey_lanes": _impossible("survey_lanes", "survey-lanes"),
    "too_few_fixes": _impossible("too_few", "too-few-fixes", (1.0, 3.0)),
    "noise_too_large": _impossible("noise_huge", "noise-large", (1.0, 1.5)),
    "long_bridge": _impossible("long_bridge", "long-bridge half-ring open-ring"),
    "side_unknown": _impossible("camera_side side_unknown", "side-unknown", (10.0, 2000.0)),
}
"""Logs that do not hold it: refused or flagged with one of the reasons, never silent."""

SCENARIOS = {**SOLVABLE, **IMPOSSIBLE}

MIXABLE = (
    "transit",
    "bent",
    "inside",
    "ground",
    "jitter",
    "hover",
    "spikes",
    "bursts",
    "repeats",
    "frozen",
    "shuffled",
    "dropouts",
    "doubling_back",
    "overlap",
    "laps",
    "look_again",
    "island",
    "flights_overlap",
)
"""Effects that ``mixed`` draws from, each with three chances in ten."""
