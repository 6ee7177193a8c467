from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from exchange.perimeter.loops import erase_loops
from exchange.perimeter.shapes import (
    is_lap,
    is_lobe,
    is_small_circle,
    mean_width_m,
    ring_area_m2,
    ring_length_m,
    roundness,
)

Floats = NDArray[np.float64]


def circle(radius_m: float, *, turns: float = 1.0, start: float = 0.0, step_m: float = 2.5) -> Floats:
    count = int(abs(turns) * 2 * np.pi * radius_m / step_m)
    turn = start + np.linspace(0.0, turns * 2 * np.pi, count)
    return radius_m * np.column_stack([np.cos(turn), np.sin(turn)])


def line(start: tuple[float, float], end: tuple[float, float], step_m: float = 2.5) -> Floats:
    length = float(np.hypot(end[0] - start[0], end[1] - start[1]))
    share = np.linspace(0.0, 1.0, int(length / step_m))[:, None]
    return np.asarray(start) + share * (np.asarray(end) - np.asarray(start))


def erase(path: Floats) -> tuple[list[float], int]:
    loops, left = erase_loops(path, np.zeros(len(path), np.bool_), within_m=8.0, shortest_m=32.0)
    return [ring_area_m2(path[loop.places]) for loop in loops], len(left)


@pytest.mark.parametrize("turns", [1.1, -1.1])
def test_a_ring_with_overlap_is_one_loop(turns: float) -> None:
    """Whichever way it is flown, a ring closes once; the overlap is left."""
    areas, left = erase(circle(100.0, turns=turns))
    assert len(areas) == 1
    assert areas[0] == pytest.approx(np.pi * 100.0**2, rel=0.03)
    assert left * 2.5 < 0.2 * 2 * np.pi * 100.0


def test_laps_are_as_many_loops() -> None:
    """Three laps and a bit close three times."""
    areas, _ = erase(circle(100.0, turns=3.2))
    assert sum(area > 1000.0 for area in areas) == 3


def test_a_way_out_and_back_encloses_nothing() -> None:
    """A leg flown twice falls away, the ring at its end stays."""
    ring = circle(100.0)
    path = np.vstack([line((400.0, 0.0), (100.0, 0.0)), ring, line((100.0, 0.0), (400.0, 0.0))])
    areas, left = erase(path)
    assert max(areas) == pytest.approx(np.pi * 100.0**2, rel=0.03)
    assert sum(area > 1000.0 for area in areas) == 1
    assert left < 12


def test_places_on_legs_close_nothing() -> None:
    """A leg that crosses the ring makes no loop of its own."""
    path = np.vstack([line((-300.0, 0.0), (100.0, 0.0)), circle(100.0, turns=1.05)])
    is_leg = np.arange(len(path)) < 155
    loops, _ = erase_loops(path, is_leg, within_m=8.0, shortest_m=32.0)
    assert [round(ring_area_m2(path[loop.places]) / (np.pi * 100.0**2), 1) for loop in loops] == [1.0]


def test_sizes_and_forms() -> None:
    """A circle is round, a ribbon is thin, a small circle is a loop to look again, half a fire a lobe."""
    ring = circle(50.0)[:-1]
    assert roundness(ring) == pytest.approx(1.0, abs=0.02)
    assert ring_length_m(ring) == pytest.approx(100.0 * np.pi, rel=0.01)
    assert mean_width_m(ring) == pytest.approx(50.0, rel=0.02)
    ribbon = np.array([[0.0, 0.0], [500.0, 0.0], [500.0, 4.0], [0.0, 4.0]])
    assert mean_width_m(ribbon) < 4.0
    assert is_small_circle(circle(15.0)[:-1])
    assert not is_small_circle(ring)
    assert not is_lobe(circle(15.0)[:-1], ring_area_m2(ring))
    assert is_lobe(ring, 2.0 * ring_area_m2(ring))
    assert is_lap(circle(48.0)[:-1], ring)
    assert not is_lap(ring + np.array([100.0, 0.0]), ring)
