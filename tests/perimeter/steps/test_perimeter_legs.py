from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from exchange.perimeter.legs import (
    find_launches,
    find_leg,
    is_even,
    unevenness_m,
)

Floats = NDArray[np.float64]
STEP_M = 2.5


def wavy_ring(radius_m: float) -> Floats:
    turn = np.linspace(0.0, 2 * np.pi, max(40, int(2 * np.pi * radius_m / STEP_M)))
    radius = radius_m * (1.0 + 0.12 * np.cos(7 * turn) + 0.06 * np.sin(13 * turn))
    return np.column_stack([radius * np.cos(turn), radius * np.sin(turn)])


def way(start: Floats, end: Floats, bend: float) -> Floats:
    share = np.linspace(0.0, 1.0, int(np.hypot(*(end - start)) / STEP_M))[:-1, None]
    ahead = end - start
    return start + share * ahead + 4.0 * share * (1.0 - share) * bend * np.array([-ahead[1], ahead[0]])


@pytest.mark.parametrize("bend", [0.0, 0.15, -0.25])
@pytest.mark.parametrize("length_m", [80.0, 400.0])
def test_a_leg_ends_where_the_edge_begins(bend: float, length_m: float) -> None:
    """A straight or evenly bent way to a wavy edge is found to some metres."""
    ring = wavy_ring(150.0)
    leg = way(ring[0] + [length_m, 0.3 * length_m], ring[0], bend)
    found = find_leg(np.vstack([leg, ring]), np.full(len(leg) + len(ring), np.nan))
    assert abs(found.end - len(leg)) * STEP_M < 15.0


def test_a_way_flown_faster_weighs_more() -> None:
    """Speed speaks for a leg."""
    ring = wavy_ring(150.0)
    leg = way(ring[0] + [300.0, 0.0], ring[0], 0.0)
    path = np.vstack([leg, ring])
    even, fast = np.full(len(path), 6.0), np.r_[np.full(len(leg), 11.0), np.full(len(ring), 6.0)]
    assert find_leg(path, fast).weight > find_leg(path, even).weight + 0.5


def test_a_short_path_has_no_leg() -> None:
    """Of a few metres nothing is cut."""
    assert find_leg(np.zeros((5, 2)), np.full(5, np.nan)).end == 0


def test_an_even_bend_is_even_and_a_ring_is_not() -> None:
    """A parabola departs from itself by nothing; a circle from any parabola by much; corners are allowed for."""
    parabola = way(np.zeros(2), np.array([500.0, 0.0]), 0.2)
    assert unevenness_m(parabola, np.array([0]), np.array([len(parabola) - 1]))[0] < 1.0
    assert is_even(parabola)
    assert not is_even(wavy_ring(150.0), corners=1)
    corner = np.vstack(
        [way(np.zeros(2), np.array([200.0, 0.0]), 0.0), way(np.array([200.0, 0.0]), np.array([80.0, 170.0]), 0.0)]
    )
    assert not is_even(corner)
    assert is_even(corner, corners=1)


def test_a_launch_is_told_by_waiting_by_climbing_and_by_company() -> None:
    """Each of the three speaks for legs; two flights that meet in one end only share no launch."""
    nan = np.full((1, 2), np.nan)
    far = np.array([[[0.0, 0.0], [500.0, 0.0]]])
    assert find_launches(far, np.zeros((1, 2)), nan).tolist() == [[0.0, 0.0]]
    assert (find_launches(far, np.array([[20.0, 0.0]]), nan) > 0.0).tolist() == [[True, False]]
    assert (find_launches(far, np.zeros((1, 2)), np.array([[60.0, 2.0]])) > 0.0).tolist() == [[True, False]]
    two = np.array([[[0.0, 0.0], [1.0, 0.0]], [[2.0, 0.0], [900.0, 0.0]]])
    shared = find_launches(two, np.zeros((2, 2)), np.full((2, 2), np.nan)) > 0.0
    assert shared.tolist() == [[True, True], [True, False]]
