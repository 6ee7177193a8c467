from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from exchange.geo.frame import LocalFrame
from exchange.perimeter.judging import judge_vertices
from exchange.perimeter.simplifying import count_vertices, measure_moved_m, simplify_polygon, simplify_to_degrees


def wavy(radius_m: float, seed: int, at: tuple[float, float] = (0.0, 0.0)) -> shapely.Polygon:
    turn = np.linspace(0.0, 2 * np.pi, 400, endpoint=False)
    noise = np.random.default_rng(seed).normal(0.0, 0.02 * radius_m, 400)
    ring = np.column_stack([np.cos(turn), np.sin(turn)]) * (radius_m + noise)[:, None]
    return shapely.Polygon(np.asarray(at) + ring).buffer(0)


FIRE = shapely.difference(wavy(200.0, 1000), shapely.union_all([wavy(30.0, 1001), wavy(20.0, 1002, (90.0, 0.0))]))


@given(st.floats(0.0, 60.0))
def test_no_island_is_lost_and_nothing_crosses(within_m: float) -> None:
    """However far it is simplified, the polygon is valid and keeps its islands."""
    found = simplify_polygon(FIRE, within_m=within_m)
    assert found.is_valid
    assert len(found.interiors) == 2


def test_the_edge_stays_within_the_distance() -> None:
    """No point of either edge lies farther from the other than stated."""
    found = simplify_polygon(FIRE, within_m=1.5)
    assert shapely.hausdorff_distance(found.boundary, FIRE.boundary, densify=0.01) <= 1.5 + 0.5
    assert count_vertices(found) < count_vertices(FIRE)


@pytest.mark.parametrize("most", [300, 60, 20, 12])
def test_so_many_vertices_at_most(most: int) -> None:
    """A limit on the vertices is kept, with all rings."""
    found = simplify_polygon(FIRE, within_m=0.3, max_vertices=most)
    assert count_vertices(found) <= most
    assert found.is_valid
    assert len(found.interiors) == 2


def test_the_published_example_of_line_simplification() -> None:
    """A spike on a straight line survives a smaller tolerance and goes at a larger one (Douglas and Peucker, 1973)."""
    square = shapely.Polygon([(0, 0), (50, 0), (51, -1), (52, 0), (100, 0), (100, 100), (0, 100)])
    assert count_vertices(simplify_polygon(square, within_m=0.9)) == 7
    assert count_vertices(simplify_polygon(square, within_m=1.1)) == 4


@given(st.integers(0, 400), st.integers(12, 200), st.integers(1000, 2**31))
def test_no_limit_loses_a_part_or_an_island(inside: int, most: int, seed: int) -> None:
    """Two fires and an island come out valid, with their rings and no more vertices than allowed."""
    fire = wavy(200.0, seed).difference(wavy(30.0, seed + 1, (0.3 * inside - 60.0, 0.0)))
    both = shapely.union_all([fire, wavy(40.0, seed + 2, (320.0, 0.0))])
    found = simplify_polygon(both, within_m=0.3, max_vertices=most)
    assert found.is_valid
    assert count_vertices(found) <= most
    assert len(shapely.get_rings(shapely.get_parts(found))) == len(shapely.get_rings(shapely.get_parts(both)))


@given(st.integers(12, 100))
def test_vertices_of_the_cut_at_the_180th_meridian_count(most: int) -> None:
    """A perimeter across the meridian is two polygons, together of no more vertices than allowed."""
    drawn = simplify_to_degrees(LocalFrame(180.0, 44.5), wavy(200.0, 1003), within_m=0.3, max_vertices=most)
    assert drawn.is_valid
    assert len(shapely.get_parts(drawn)) == 2
    assert count_vertices(drawn) <= most


def test_fewer_vertices_than_rings_need_is_refused_in_words() -> None:
    """A fire with two islands cannot be drawn with four vertices: what it needs is told, and nothing is left out."""
    needed = count_vertices(simplify_polygon(FIRE, within_m=0.3, max_vertices=4))
    refusal = judge_vertices(needed, 4)
    assert needed >= 9
    assert refusal is not None
    assert str(needed) in refusal.words
    assert judge_vertices(4, 4) is None
    assert judge_vertices(needed, None) is None


def test_what_few_vertices_cost_is_measured() -> None:
    """A square with a notch of 30 m that a simplified one leaves out lies 30 m from it, there."""
    frame = LocalFrame(-114.0, 44.5)
    notched = shapely.Polygon([(0, 0), (200, 0), (200, 90), (170, 100), (200, 110), (200, 200), (0, 200)])
    square = frame.geometry_to_degrees(shapely.box(0, 0, 200, 200))
    assert measure_moved_m(frame, notched, square) == pytest.approx(30.0, abs=0.01)
