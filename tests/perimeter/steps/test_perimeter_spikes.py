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


def test_two_fixes_hold_no_spike() -> None:
    """Too few fixes to tell are left alone."""
    assert find_spikes(np.array([0.0, 900.0]), np.zeros(2), np.ones(1)).tolist() == [False, False]
