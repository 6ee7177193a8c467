"""Traces of real tracks, looked at as pictures and kept as golden figures; where they come from: ``real_tracks.py``."""

from __future__ import annotations

import pytest

from exchange.perimeter import trace_perimeter
from tests.reference.real_tracks import area_of_closed_line_m2, flown, walked

# A walk with a way out and back inside of it, and a drawn route.
LOOPS = [
    ("korita-zbevnica.gpx", "03-OCT-10 #2", 137.95, 7.632, set()),
    ("route.gpx", "", 193.85, 6.587, set()),
]
# Two walks that end elsewhere, and a drive around a village whose first sixth is a straight road: a way, as it looks.
WALKS = [("korita-zbevnica.gpx", "ACTIVE LOG"), ("korita-zbevnica.gpx", "ACTIVE LOG #2")]
OPEN = [*WALKS, ("around-visnjan-with-car.gpx", "2020-12-18 07:24:29")]
SURVEYS = [
    "surveys/texas", "surveys/indiana", "surveys/ign_lot_et_garonne", "surveys/ign_mercantour",
    "surveys/ign_fontainebleau", "surveys/georeal_fyn_island",
]  # fmt: skip
# Flights and drives in which no fix is known to be wrong: surveys, a drawn map, circles, stop and go.
FLOWN = ["featured/switzerland_map", "surveys/texas", "surveys/liguria", "calibration/funchal", "calibration/kiruna"]
DRIVEN = [("around-visnjan-with-car.gpx", "2020-12-18 07:24:29"), ("Mojstrovka.gpx", ""), *WALKS]


@pytest.mark.parametrize(("file", "name", "hectares", "kilometres", "codes"), LOOPS, ids=[loop[0] for loop in LOOPS])
def test_a_closed_loop_is_found(file: str, name: str, hectares: float, kilometres: float, codes: set[str]) -> None:
    """The area is that inside the closed line by geographiclib to 1 %, and the golden figures are what they were."""
    track = walked(file, name)
    traced = trace_perimeter([track])
    assert traced.report.area_m2 == pytest.approx(area_of_closed_line_m2(track), rel=0.01)
    assert traced.report.area_m2 / 1e4 == pytest.approx(hectares, abs=0.01)
    assert traced.report.length_m / 1e3 == pytest.approx(kilometres, abs=0.002)
    assert {finding.code for finding in traced.flags} == codes
    assert (traced.report.parts, traced.report.islands) == (1, 0)


@pytest.mark.parametrize(("file", "name"), OPEN, ids=[f"{file}-{name}" for file, name in OPEN])
def test_a_way_that_ends_elsewhere_or_comes_back_is_refused(file: str, name: str) -> None:
    """What encloses nothing is no perimeter, and the refusal says what is open."""
    traced = trace_perimeter([walked(file, name)])
    assert traced.perimeter is None
    assert {finding.code for finding in traced.refusals} <= {"half-ring", "missing-flight", "transit-only"}
    assert traced.open_ends


def test_a_walk_up_and_down_is_never_taken_for_an_edge_unsaid() -> None:
    """A walk that comes down some metres beside its way up encloses slivers, which is told; its stamps are all one."""
    traced = trace_perimeter([walked("Mojstrovka.gpx", "")])
    codes = {finding.code for finding in (*traced.refusals, *traced.flags)}
    assert codes & {"half-ring", "transit-only", "unexplained-track"}


@pytest.mark.parametrize("name", SURVEYS)
def test_a_survey_from_the_air_is_told_by_its_lanes(name: str) -> None:
    """A survey of parallel lanes over a county is refused as one."""
    traced = trace_perimeter([flown(name)])
    assert traced.perimeter is None
    assert [finding.code for finding in traced.refusals] == ["survey-lanes"]


@pytest.mark.parametrize("name", FLOWN)
def test_true_flights_keep_their_fixes(name: str) -> None:
    """Stamps that are late by a second, turns and pauses make no spike of a fix that was flown."""
    assert "spike" not in trace_perimeter([flown(name)]).report.removed


@pytest.mark.parametrize(("file", "name"), DRIVEN, ids=[f"{file}-{name}" for file, name in DRIVEN])
def test_walks_and_drives_keep_their_fixes(file: str, name: str) -> None:
    """Who stops and goes, or logs a place now and then, loses none either."""
    assert "spike" not in trace_perimeter([walked(file, name)]).report.removed
