"""Traces of real tracks, looked at as pictures and kept as golden figures; where they come from: ``real_tracks.py``."""

from __future__ import annotations

import pytest

from exchange.perimeter import trace_perimeter
from tests.reference.real_tracks import area_of_closed_line_m2, flown, walked

# A drive around a village with few fixes, a walk with a way out and back inside of it, and a drawn route.
LOOPS = [
    ("around-visnjan-with-car.gpx", "2020-12-18 07:24:29", 31.25, 2.654, {"long-bridge"}),
    ("korita-zbevnica.gpx", "03-OCT-10 #2", 137.95, 7.632, set()),
    ("route.gpx", "", 193.85, 6.584, set()),
]
# A walk out and back, and two walks that end elsewhere.
OPEN = [("Mojstrovka.gpx", ""), ("korita-zbevnica.gpx", "ACTIVE LOG"), ("korita-zbevnica.gpx", "ACTIVE LOG #2")]
SURVEYS = ["surveys/texas", "surveys/indiana", "surveys/ign_lot_et_garonne"]


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


@pytest.mark.parametrize("name", SURVEYS)
def test_a_survey_from_the_air_is_no_perimeter(name: str) -> None:
    """A survey of parallel lanes over a county is refused."""
    assert trace_perimeter([flown(name)]).perimeter is None
