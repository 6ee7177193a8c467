from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from exchange.geo.frame import LocalFrame
from exchange.model import Track
from exchange.perimeter import trace_perimeter
from exchange.perimeter.thinning import smooth_jitter, waits_seconds
from tests.perimeter.simulator.faults import slow_noise

Floats = NDArray[np.float64]
RADIUS_M = 150.0
BEGIN = np.datetime64("2026-08-13T12:00:00", "ms")


def fly_round(speed: float, *, hertz: float = 10.0, seed: int = 1000) -> Floats:
    """Return an invented ring flown at a speed, with a metre of slow noise and a decimetre of quick."""
    random = np.random.default_rng(seed)
    count = int(1.02 * 2 * np.pi * RADIUS_M / speed * hertz)
    turn = np.arange(count) * speed / hertz / RADIUS_M
    noise = np.column_stack([slow_noise(random, count, hertz, 1.0, 10.0) for _ in range(2)])
    return RADIUS_M * np.column_stack([np.cos(turn), np.sin(turn)]) + noise + random.normal(0.0, 0.1, (count, 2))


def length_m(xy: Floats) -> float:
    return float(np.hypot(*np.diff(xy, axis=0).T).sum())


@pytest.mark.parametrize("speed", [0.05, 0.25, 1.0])
def test_fixes_far_denser_than_their_noise_are_averaged(speed: float) -> None:
    """A path that dances more than it flies is drawn to about the length of the way."""
    xy = fly_round(speed)
    assert length_m(xy) > 1.5 * 2 * np.pi * RADIUS_M
    assert length_m(smooth_jitter(xy)) < 1.25 * 2 * np.pi * RADIUS_M


@pytest.mark.parametrize(("speed", "hertz"), [(8.0, 10.0), (8.0, 1.0), (3.0, 5.0)])
def test_usual_flight_is_left_as_it_is(speed: float, hertz: float) -> None:
    """Where the way between fixes is more than the noise nothing is averaged."""
    xy = fly_round(speed, hertz=hertz)
    assert smooth_jitter(xy) is xy


def test_a_hover_is_left_to_those_who_look_for_hovers() -> None:
    """A path that goes nowhere has no way to be averaged over."""
    xy = np.random.default_rng(1001).normal(0.0, 1.0, (2000, 2))
    assert smooth_jitter(xy) is xy


def test_slow_flight_is_no_wait() -> None:
    """At a quarter of a metre a second every place is left slowly; a minute on the ground before is a wait."""
    xy = np.column_stack([np.arange(4000) * 0.25, np.zeros(4000)])
    assert waits_seconds(xy, np.arange(4000.0)) == (0.0, 0.0)
    waited = np.vstack([np.zeros((600, 2)), xy * 16])
    first, last = waits_seconds(waited, np.arange(len(waited)) * 0.5)
    assert first == pytest.approx(302.0, abs=2.0)
    assert last == 0.0


@pytest.mark.parametrize("speed", [0.1, 1.0])
@pytest.mark.parametrize("is_timed", [True, False])
def test_an_edge_flown_at_a_walk_is_found(speed: float, is_timed: bool) -> None:
    """One slow lap at ten fixes a second gives the area inside of it, with and without times."""
    xy = fly_round(speed)
    longitude, latitude = LocalFrame(-114.0, 44.5).to_degrees(xy[:, 0], xy[:, 1])
    time = BEGIN + np.arange(len(xy)) * np.timedelta64(100, "ms")
    traced = trace_perimeter([Track(longitude=longitude, latitude=latitude, time=time if is_timed else None)])
    assert traced.perimeter is not None
    assert traced.report.area_m2 == pytest.approx(np.pi * RADIUS_M**2, rel=0.02)
    assert "spike" not in traced.report.removed
