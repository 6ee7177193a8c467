from __future__ import annotations

import io

import numpy as np
import pytest
from matplotlib.image import imread
from shapely.geometry import Polygon

from exchange.model import Perimeter, Track
from exchange.perimeter import Finding, Traced, TraceOptions, TraceReport, trace_perimeter
from exchange.perimeter.picture import draw_trace
from tests.perimeter.simulator.case import make_case

EMPTY = {"refusals": (), "flags": (), "removed": (), "bridges": (), "rings": (), "open_ends": ()}


def pixels(png: bytes) -> np.ndarray:
    """Return the picture's red, green and blue, 0 to 1."""
    return imread(io.BytesIO(png), format="png")[:, :, :3]


def has_color(picture: np.ndarray, color: str) -> bool:
    """Tell whether many pixels have a colour given as #rrggbb."""
    wanted = np.array([int(color[index : index + 2], 16) / 255 for index in (1, 3, 5)])
    return bool((np.abs(picture - wanted).max(axis=2) < 0.04).sum() > 50)


def ring_of(case: object) -> Perimeter:
    """Return the true edge of a case as a perimeter."""
    (ring,) = case.edge.rings
    longitude, latitude = case.place.to_degrees(ring.corners)
    return Perimeter(geometry=Polygon(np.column_stack([longitude, latitude])), area=ring.polygon.area)


@pytest.mark.parametrize(
    ("flags", "color"),
    [((), "#009E73"), ((Finding(code="gap", words="A gap of 60 m was bridged."),), "#E69F00")],
    ids=["no-flag", "flag"],
)
def test_the_frame_of_the_verdict_tells_whether_to_look_closer(flags: tuple[Finding, ...], color: str) -> None:
    """Without a flag the verdict stands in green, with one in orange."""
    case = make_case("clean", 1000)
    report = TraceReport(expected_error_m=2.0, area_m2=1e4)
    traced = Traced(perimeter=ring_of(case), **{**EMPTY, "flags": flags}, report=report)
    picture = pixels(draw_trace(case.tracks, traced, title="Marrow Flat fire (invented)"))
    assert has_color(picture, color)
    assert has_color(picture, "#F6E3D3")


def test_a_refusal_is_drawn_with_its_open_ends_and_without_a_filled_area() -> None:
    """Where there is no perimeter nothing is filled, and the verdict stands in red."""
    case = make_case("half_ring", 1000)
    refusal = Finding(code="half-ring", words="Only half of a ring was flown.")
    ends = tuple((float(case.tracks[0].longitude[row]), float(case.tracks[0].latitude[row])) for row in (0, -1))
    traced = Traced(perimeter=None, **{**EMPTY, "refusals": (refusal,), "open_ends": ends}, report=TraceReport())
    picture = pixels(draw_trace(case.tracks, traced))
    assert has_color(picture, "#D55E00")
    assert not has_color(picture, "#F6E3D3")


def test_a_doubted_ring_is_shown_amid_all_that_was_flown() -> None:
    """The true edge may lie where no ring was found, so a flag makes the picture show it."""
    square = Polygon([(0.0, 50.0), (0.001, 50.0), (0.001, 50.001), (0.0, 50.001)])
    far = Track(longitude=[0.0, 0.001, 0.003, 0.003], latitude=[50.0, 50.0, 50.0, 50.002])
    flag = Finding(code="unexplained-track", words="A line is left over.")
    filled = []
    for flags in ((), (flag,)):
        traced = Traced(perimeter=Perimeter(geometry=square), **{**EMPTY, "flags": flags}, report=TraceReport())
        picture = pixels(draw_trace([far], traced))
        filled.append((np.abs(picture - np.array([0xF6, 0xE3, 0xD3]) / 255).max(axis=2) < 0.02).sum())
    assert 0 < filled[1] < 0.6 * filled[0]


def test_the_number_of_a_finding_stands_where_it_is_to_be_looked_for() -> None:
    """A place of a refusal is marked in amber, which nothing else of a refusal is; an open end is not marked twice."""
    track = Track(longitude=[0.0, 0.001, 0.002], latitude=[50.0, 50.001, 50.0])
    refusal = Finding(code="half-ring", words="Only half of a ring was flown.", places=((0.001, 50.0005),))
    for ends, is_marked in (((), True), (refusal.places, False)):
        traced = Traced(perimeter=None, **{**EMPTY, "refusals": (refusal,), "open_ends": ends}, report=TraceReport())
        assert has_color(pixels(draw_trace([track], traced)), "#E69F00") == is_marked


@pytest.mark.parametrize(
    "tracks",
    [[], [Track()], [Track(longitude=[np.nan], latitude=[np.nan])], [Track(longitude=[1.0], latitude=[2.0])]],
    ids=["none", "empty", "no-position", "one-fix"],
)
def test_a_log_of_next_to_nothing_can_be_drawn(tracks: list[Track]) -> None:
    """The refusal of an empty log has a picture too."""
    traced = trace_perimeter(tracks, options=TraceOptions())
    assert traced.perimeter is None
    assert has_color(pixels(draw_trace(tracks, traced)), "#D55E00")


def test_a_picture_needs_no_screen_and_leaves_no_state() -> None:
    """Drawing twice gives the same bytes: no figure of a shared kind is left behind."""
    case = make_case("clean", 1001)
    traced = Traced(perimeter=ring_of(case), **EMPTY, report=TraceReport())
    assert draw_trace(case.tracks, traced) == draw_trace(case.tracks, traced)
