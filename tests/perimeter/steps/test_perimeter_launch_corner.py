from __future__ import annotations

import numpy as np
import pytest

from exchange.geo.frame import LocalFrame
from exchange.perimeter.launch_corner import judge_launch_corner

FRAME = LocalFrame(-114.0, 44.5)
TURN = np.linspace(0.0, 2 * np.pi, 300, endpoint=False)
CIRCLE = 150.0 * np.column_stack([np.cos(TURN), np.sin(TURN)])
SPIKED = np.vstack([CIRCLE[:290], [[320.0, -10.0]]])


def test_a_launch_on_the_edge_is_no_corner() -> None:
    """Who takes off at the edge and follows it is not flagged, nor at a blunt corner, such as a hexagon has."""
    assert judge_launch_corner(FRAME, [CIRCLE], CIRCLE[:1]) == []
    sixth = np.arange(6) * np.pi / 3
    hexagon = 200.0 * np.column_stack([np.cos(sixth), np.sin(sixth)])
    assert judge_launch_corner(FRAME, [hexagon], hexagon[:1]) == []


def test_ways_that_meet_at_a_right_angle_are_flagged() -> None:
    """A square begun at its corner may be two ways from a launch: a person looks."""
    square = np.array([[0.0, 0.0], [200.0, 0.0], [200.0, 200.0], [0.0, 200.0]])
    assert [found.code for found in judge_launch_corner(FRAME, [square], square[:1])] == ["launch-in-ring"]
    assert judge_launch_corner(FRAME, [square], np.array([[100.0, 0.0]])) == []


def test_a_ring_through_a_launch_is_flagged_there() -> None:
    """Two ways that meet at the launch make a corner, and the flag names the place."""
    (found,) = judge_launch_corner(FRAME, [SPIKED], np.array([[322.0, -8.0]]))
    assert found.code == "launch-in-ring"
    assert FRAME.to_metres(*found.places[0]) == pytest.approx((322.0, -8.0))


def test_a_corner_elsewhere_is_the_edge_s_own() -> None:
    """A sharp corner where no flight began or ended may be how the edge runs."""
    assert judge_launch_corner(FRAME, [SPIKED], CIRCLE[100:101]) == []
    assert judge_launch_corner(FRAME, [], CIRCLE[:1]) == []
