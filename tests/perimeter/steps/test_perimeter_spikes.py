from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from exchange.perimeter.spikes import find_spikes

Floats = NDArray[np.float64]
TURN = np.linspace(0.0, 2 * np.pi, 400)
X, Y = 400.0 * np.cos(TURN), 250.0 * np.sin(TURN)
STEPS = np.ones(399)


def test_a_clean_flight_loses_nothing() -> None:
    """An ellipse at an even speed holds no spike."""
    assert not find_spikes(X, Y, STEPS).any()


@given(st.integers(5, 380), st.integers(1, 9), st.floats(40.0, 500.0), st.floats(0.0, 6.28))
def test_a_burst_goes_as_a_whole_and_nothing_else(row: int, length: int, reach: float, turn: float) -> None:
    """One to nine fixes thrown aside are found, all of them, and no other fix."""
    x, y = X.copy(), Y.copy()
    x[row : row + length] += reach * np.cos(turn)
    y[row : row + length] += reach * np.sin(turn)
    assert np.flatnonzero(find_spikes(x, y, STEPS)).tolist() == list(range(row, row + length))


@pytest.mark.parametrize("times", [2.0, 3.0])
def test_a_fast_way_is_no_spike(times: float) -> None:
    """A flight that doubles or trebles its speed for good keeps every fix."""
    x = np.r_[np.arange(100.0) * 6.0, 600.0 + np.arange(100.0) * 6.0 * times]
    assert not find_spikes(x, np.zeros(200), np.ones(199)).any()


def test_stop_and_go_is_no_spike() -> None:
    """Fast single steps along the way, as of a car, lie on the way and stay."""
    step = np.where(np.arange(200) % 7 == 0, 60.0, 2.0)
    assert not find_spikes(np.cumsum(step), np.zeros(200), np.ones(199)).any()


def test_a_dropout_is_no_spike() -> None:
    """After ten seconds without a fix the aircraft is ten steps on."""
    kept = np.r_[0:150, 160:400]
    assert not find_spikes(X[kept], Y[kept], np.diff(kept).astype(np.float64)).any()


@given(st.integers(20, 370), st.integers(1, 8), st.floats(60.0, 500.0))
def test_a_burst_after_a_dropout_goes_alone(row: int, length: int, reach: float) -> None:
    """Where ten seconds are lost before a burst it is within reach of the flight, but not the flight within its."""
    x, y = X.copy(), Y.copy()
    out = np.array([np.cos(TURN[row]), np.sin(TURN[row])])
    x[row : row + length] += reach * out[0]
    y[row : row + length] += reach * out[1]
    kept = np.r_[0 : row - 10, row:400]
    found = kept[find_spikes(x[kept], y[kept], np.diff(kept).astype(np.float64))]
    assert found.tolist() == list(range(row, row + length))


@given(st.integers(0, 2**32 - 1))
def test_the_direction_flown_changes_nothing(seed: int) -> None:
    """Thrown at random, fixes are found or not whichever way the path runs."""
    random = np.random.default_rng(seed)
    is_thrown = (random.random(400) < 0.1)[:, None]
    x, y = (np.column_stack([X, Y]) + is_thrown * random.normal(0.0, 60.0, (400, 2))).T
    there, back = find_spikes(x, y, STEPS), find_spikes(x[::-1], y[::-1], STEPS)
    assert there.tolist() == back[::-1].tolist()


@pytest.mark.parametrize("late_seconds", [0.2, 0.4])
def test_stamps_that_come_late_make_no_spike(late_seconds: float) -> None:
    """Positions that are older than their stamps by a part of the interval make steps of uneven length, all ahead."""
    lag = np.random.default_rng(1000).uniform(0.0, late_seconds, 400)
    turn = (np.arange(400) - lag) / 400 * 2 * np.pi
    assert not find_spikes(9e3 * np.cos(turn), 6e3 * np.sin(turn), STEPS).any()


@pytest.mark.parametrize("hertz", [1.0, 10.0])
def test_jitter_on_the_spot_is_no_spike(hertz: float) -> None:
    """Two metres of fresh noise while the aircraft hovers are noise, though no aircraft flies so."""
    fly, hover = np.arange(0.0, 300.0, 8.0 / hertz), np.full(int(20 * hertz), 300.0)
    x = np.r_[fly, hover, 300.0 + fly]
    noise = np.random.default_rng(1001).normal(0.0, 2.0, (2, len(hover)))
    y = np.zeros(len(x))
    x[len(fly) : -len(fly)] += noise[0]
    y[len(fly) : -len(fly)] += noise[1]
    assert not find_spikes(x, y, np.full(len(x) - 1, 1.0 / hertz)).any()


def test_two_fixes_hold_no_spike() -> None:
    """Too few fixes to tell are left alone."""
    assert find_spikes(np.array([0.0, 900.0]), np.zeros(2), np.ones(1)).tolist() == [False, False]
