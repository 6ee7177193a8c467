from __future__ import annotations

import numpy as np
import pytest
import shapely
from numpy.typing import NDArray

from exchange.geo.frame import LocalFrame
from exchange.perimeter.unexplained import judge_unexplained, measure_away, measure_left_out

Floats = NDArray[np.float64]
FRAME = LocalFrame(-114.0, 44.5)
TURN = np.linspace(0.0, 2 * np.pi, 400)
SMALL, LARGE = (r * np.column_stack([np.cos(TURN), np.sin(TURN)]) for r in (60.0, 200.0))
FAR = LARGE + np.array([400.0, 0.0])


def judge(rings: list[Floats], *paths: Floats, legs: list[NDArray[np.bool_]] | None = None) -> list[str]:
    given = legs or [np.zeros(len(path), np.bool_) for path in paths]
    return [found.code for found in judge_unexplained(FRAME, rings, paths, given, within_m=12.0)]


def test_a_ring_that_accounts_for_all_is_not_flagged() -> None:
    """One lap or two, with an island flown apart: all that was flown lies along an edge."""
    assert judge([LARGE], LARGE) == []
    assert judge([LARGE], np.vstack([LARGE, LARGE])) == []
    assert judge([LARGE, SMALL], LARGE, SMALL) == []


def test_the_wrong_ring_of_two_is_flagged_with_its_place() -> None:
    """A large ring beside the one that was taken is named with a place in it and its area."""
    (found,) = judge_unexplained(FRAME, [SMALL], [SMALL, FAR], [np.zeros(400, np.bool_)] * 2, within_m=12.0)
    assert found.code == "unexplained-track"
    assert found.figures["left_out_m2"] == pytest.approx(np.pi * 200.0**2, rel=0.01)
    x, y = FRAME.to_metres(*found.places[0])
    assert np.hypot(x - 400.0, y) < 200.0


def test_ways_need_no_explanation() -> None:
    """A straight way to the edge, or out and back, may lie anywhere; a winding line is flagged unless it is a leg."""
    way = np.column_stack([np.linspace(200.0, 1500.0, 300), np.zeros(300)])
    assert judge([LARGE], np.vstack([way[::-1], LARGE])) == []
    assert judge([LARGE], np.vstack([LARGE, way, way[::-1]])) == []
    winding = way + 60.0 * np.column_stack([np.zeros(300), np.sin(way[:, 0] / 20.0)])
    path = np.vstack([winding[::-1], LARGE])
    assert judge([LARGE], path) == ["unexplained-track"]
    assert judge([LARGE], path, legs=[np.arange(len(path)) < 300]) == []


def test_the_measures_are_those_of_simple_figures() -> None:
    """Slivers along the edge are not left out; a line far from it counts with its length."""
    wobbly = LARGE * (1.0 + 0.01 * np.sin(40 * TURN))[:, None]
    assert measure_left_out(shapely.Polygon(LARGE), [wobbly], within_m=12.0).area == 0.0
    turn = np.linspace(0.0, 2 * np.pi, 2001)
    line = 20.0 * np.column_stack([np.cos(turn), np.sin(turn)])
    edge = shapely.boundary(shapely.Polygon(LARGE))
    assert measure_away(edge, [line, line[:1]], within_m=12.0) == pytest.approx(40.0 * np.pi, rel=1e-3)


@pytest.mark.parametrize("laps", [1, 5])
def test_a_lobe_that_was_left_out_counts_whole(laps: int) -> None:
    """A lobe flown outside of the edge counts with its area up to the edge, however often it was flown around."""
    lobe = np.maximum(0.0, 1.0 - (np.minimum(TURN, 2 * np.pi - TURN) / 0.6) ** 2)
    flown = LARGE * (1.0 + lobe)[:, None]
    left_out = measure_left_out(shapely.Polygon(LARGE), [np.vstack([flown] * laps)], within_m=12.0)
    whole = shapely.Polygon(flown).difference(shapely.Polygon(LARGE))
    assert left_out.area == pytest.approx(whole.area, rel=0.02)
