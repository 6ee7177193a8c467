from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from exchange.perimeter.faces import fill_path, winding_numbers
from exchange.perimeter.pieces import sort_pieces

Floats = NDArray[np.float64]


def circle(radius_m: float, *, turns: int = 1, at: tuple[float, float] = (0.0, 0.0)) -> Floats:
    turn = np.linspace(0.0, turns * 2 * np.pi, 200 * abs(turns), endpoint=False)
    return np.asarray(at) + radius_m * np.column_stack([np.cos(turn), np.sin(turn)])


@pytest.mark.parametrize("turns", [1, 2, -3])
def test_laps_fill_what_one_lap_fills(turns: int) -> None:
    """However often and which way round, a circle is its disc."""
    noise = 0.3 * np.sin(np.arange(200 * abs(turns)) * 1.7)[:, None]
    (disc,) = fill_path(circle(100.0, turns=turns) + noise)
    assert disc.is_valid
    assert disc.area == pytest.approx(np.pi * 100.0**2, rel=0.02)


def test_both_bodies_of_a_figure_of_eight_are_filled() -> None:
    """A body flown clockwise counts as much as one flown the other way."""
    turn = np.linspace(0.0, 2 * np.pi, 400, endpoint=False)
    eight = 100.0 * np.column_stack([np.sin(turn), np.sin(turn) * np.cos(turn)])
    whole = shapely.union_all(fill_path(eight))
    # Half of the area within the lemniscate of Gerono on either side: 4/3 a^2 in all (common knowledge, from memory).
    assert whole.area == pytest.approx(4.0 / 3.0 * 100.0**2, rel=0.01)


@given(st.lists(st.tuples(st.floats(-500.0, 500.0), st.floats(-500.0, 500.0)), max_size=25))
def test_any_path_gives_valid_polygons(places: list[tuple[float, float]]) -> None:
    """Whatever the path, what comes out is valid, has area and no hole."""
    for polygon in fill_path(np.array(places, np.float64).reshape(-1, 2)):
        assert polygon.is_valid
        assert polygon.area > 0.0
        assert not polygon.interiors


@given(st.lists(st.tuples(st.integers(-20, 20), st.integers(-20, 20)), min_size=3, max_size=12), st.data())
def test_winding_agrees_with_the_sum_of_angles(places: list[tuple[int, int]], data: st.DataObject) -> None:
    """Counting crossings gives what turning around the place gives."""
    ring = np.array([*places, places[0]], np.float64)
    place = np.array([[data.draw(st.integers(-20, 20)) + 0.37, data.draw(st.integers(-20, 20)) + 0.41]])
    angle = np.unwrap(np.arctan2(*(ring - place).T[::-1]))
    near = np.diff(np.arctan2(*(ring - place).T[::-1]))
    if np.isclose(np.abs(near), np.pi, atol=1e-6).any():
        return
    assert winding_numbers(ring, place)[0] == round(float(angle[-1] - angle[0]) / (2 * np.pi))


def test_islands_parts_and_loops_are_told_apart() -> None:
    """Inside and apart is an island, outside and apart a part, at the edge a loop flown to look again."""
    fire = shapely.Polygon(circle(200.0))
    island, other = shapely.Polygon(circle(40.0, at=(50.0, 0.0))), shapely.Polygon(circle(60.0, at=(600.0, 0.0)))
    inner, outer = shapely.Polygon(circle(15.0, at=(183.0, 0.0))), shapely.Polygon(circle(15.0, at=(-216.0, 0.0)))
    pieces = sort_pieces([inner, other, island, fire, outer], within_m=8.0)
    assert pieces.parts == [fire, other]
    assert pieces.islands == [island]
    assert pieces.left_out == [outer]


def test_two_bodies_that_touch_are_one_part() -> None:
    """The bodies of a pinched fire are joined across the pinch."""
    bodies = [shapely.Polygon(circle(100.0)), shapely.Polygon(circle(80.0, at=(184.0, 0.0)))]
    (part,) = sort_pieces(bodies, within_m=8.0).parts
    assert part.is_valid
    assert part.area == pytest.approx(bodies[0].area + bodies[1].area, rel=0.02)
