from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from exchange.geo.frame import LocalFrame
from exchange.perimeter.reasons import count_lanes, explain_open, find_impossible, measure_strip

Floats = NDArray[np.float64]
FRAME = LocalFrame(-114.0, 44.5)
TURN = np.linspace(0.0, 2 * np.pi, 300)
CIRCLE = 80.0 * np.column_stack([np.cos(TURN), np.sin(TURN)])


def fly_lanes(count: int, spacing_m: float, *, length_m: float = 300.0, angle: float = 0.0) -> Floats:
    """Return an invented survey: parallel lanes, up the one and down the next, a place a metre or so."""
    x = np.repeat(np.arange(count) * spacing_m, 2)
    y = np.tile([0.0, length_m, length_m, 0.0], count)[: 2 * count]
    along = np.r_[0.0, np.cumsum(np.hypot(np.diff(x), np.diff(y)))]
    wanted = np.arange(0.0, along[-1], 1.0)
    path = np.column_stack([np.interp(wanted, along, x), np.interp(wanted, along, y)])
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    return path @ turn.T


def name_reason(*paths: Floats, fixes: int = 1000, is_logged: bool = True) -> str | None:
    found = find_impossible(FRAME, paths, fixes, is_logged=is_logged)
    return found.code if found else None


def test_a_ring_is_not_refused() -> None:
    """A circle, flown once or three times, by one flight or two, may hold a ring."""
    assert name_reason(CIRCLE) is None
    assert name_reason(np.vstack([CIRCLE] * 3)) is None
    assert name_reason(CIRCLE[:160], CIRCLE[150:]) is None


def test_few_fixes_are_too_few_where_they_were_logged() -> None:
    """Ten logged fixes are a guess; ten drawn corners are what somebody meant."""
    assert name_reason(CIRCLE[::30], fixes=10) == "too-few-fixes"
    assert name_reason(CIRCLE[::30], fixes=10, is_logged=False) is None
    assert name_reason(fixes=0) == "too-few-fixes"


def test_staying_in_one_place_is_a_hover() -> None:
    """Noise about a place is no ring, though it goes around."""
    places = np.random.default_rng(2611).normal(0.0, 2.0, (400, 2))
    assert name_reason(places) == "hover-only"


@pytest.mark.parametrize("angle", [0.0, 0.5, 2.0])
@pytest.mark.parametrize(("count", "spacing_m"), [(4, 40.0), (5, 12.0), (20, 25.0)])
def test_lanes_are_counted_whatever_their_bearing(angle: float, count: int, spacing_m: float) -> None:
    """A survey up and down is told with its lanes, with a metre of noise too."""
    path = fly_lanes(count, spacing_m, angle=angle)
    assert count_lanes(path) == count
    noisy = path + np.random.default_rng(1).normal(0.0, 0.5, path.shape)
    assert name_reason(noisy) == "survey-lanes"


def test_laps_of_a_narrow_ring_are_no_lanes() -> None:
    """Four laps of a strip 30 m wide and 600 m long go back and forth on two lines only."""
    lap = np.array([[0.0, 0.0], [600.0, 0.0], [600.0, 30.0], [0.0, 30.0]])
    path = np.vstack([lap] * 4)
    assert count_lanes(path) == 0
    assert name_reason(path) is None


def test_there_and_back_is_a_way() -> None:
    """A straight line flown twice has no width."""
    out = np.column_stack([np.linspace(0.0, 900.0, 300), np.zeros(300)])
    assert name_reason(np.vstack([out, out[::-1] + np.array([0.0, 2.0])])) == "transit-only"


def test_the_width_is_that_of_the_narrowest_strip() -> None:
    """A slanted rectangle of 200 by 30 m is 30 m wide; a line has none."""
    box = np.array([[0.0, 0.0], [200.0, 0.0], [200.0, 30.0], [0.0, 30.0]])
    turn = np.array([[0.8, -0.6], [0.6, 0.8]])
    assert measure_strip(box @ turn.T) == pytest.approx((30.0, 200.0))
    assert measure_strip(np.array([[0.0, 0.0], [3.0, 4.0]])) == pytest.approx((0.0, 5.0))


def test_the_open_ends_are_named_where_they_are() -> None:
    """What is missing is told with the places of the ends, in degrees, and their distance."""
    gap = np.array([[0.0, 0.0], [300.0, 400.0]])
    found = explain_open(FRAME, [gap], 1200.0, flights=1)
    assert found.code == "half-ring"
    assert found.figures["widest_gap_m"] == pytest.approx(500.0)
    assert "500 m in a straight line" in found.words
    assert found.places[0] == pytest.approx((-114.0, 44.5))
    assert FRAME.to_metres(*found.places[1]) == pytest.approx((300.0, 400.0))
    assert explain_open(FRAME, [gap], 1200.0, flights=2).code == "missing-flight"


def test_lanes_of_a_county_may_bend() -> None:
    """Lanes of fifty kilometres that bend by a hundred metres are lanes; the way there is no part of them."""
    lanes = fly_lanes(10, 3000.0, length_m=50_000.0)[::50]
    lanes += 100.0 * np.sin(lanes[:, ::-1] / 3000.0)
    way = np.linspace((-60_000.0, -20_000.0), lanes[0], 500)
    assert count_lanes(np.vstack([way, lanes])) == 10
