from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from exchange.perimeter.simplifying import count_vertices, simplify_polygon


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
