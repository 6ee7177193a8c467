from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.spatial.distance import cdist

from exchange.errors import OptionError
from exchange.geo.geodesy import distances_m, path_length_m
from exchange.handout.order import order_spots
from exchange.handout.order.local_search import find_short_path
from exchange.handout.order.ordering import sort_numbers
from exchange.model import Detections

PLACES = st.lists(st.tuples(st.floats(-180.0, 180.0), st.floats(-90.0, 90.0)), max_size=12)
NEAR = st.lists(st.tuples(st.integers(0, 9), st.integers(0, 9)), max_size=12)


def _list(places: list[tuple[float, float]]) -> Detections:
    numbers = [f"H-{row:03d}" for row in range(1, len(places) + 1)]
    longitude, latitude = np.array(places, float).reshape(-1, 2).T
    return Detections(id=numbers, longitude=longitude, latitude=latitude)


def _shortest(distances: NDArray[np.float64]) -> float:
    """Return the length of the shortest path from point 0 through all others, by dynamic programming.

    M. Held and R. M. Karp, Journal of the SIAM 10:196, 1962: the best path through a set that ends at one of it.
    """
    others = range(1, len(distances))
    best = {(frozenset([one]), one): float(distances[0, one]) for one in others}
    for size in range(2, len(distances)):
        for chosen in map(frozenset, itertools.combinations(others, size)):
            for last in chosen:
                rest = chosen - {last}
                best[chosen, last] = min(best[rest, before] + float(distances[before, last]) for before in rest)
    return min((length for (chosen, _), length in best.items() if len(chosen) == len(distances) - 1), default=0.0)


@given(places=PLACES | NEAR.map(lambda cells: [(-114 + x * 1e-3, 44.5 + y * 1e-3) for x, y in cells]))
@settings(deadline=None, max_examples=60)
def test_a_walk_has_every_spot_once_and_is_never_longer_than_by_number(places: list[tuple[float, float]]) -> None:
    """Wherever spots lie, in one place or around the earth, none is left out and the way is not longer."""
    spots = _list(places)
    walk = order_spots(spots, "walk")
    assert sorted(walk.rows.tolist()) == list(range(len(spots)))
    assert walk.length_m <= walk.length_by_number_m
    assert walk.length_m == pytest.approx(path_length_m(spots.longitude[walk.rows], spots.latitude[walk.rows]))
    assert list(walk.rows[:1]) == [0][: len(spots)]


@pytest.mark.parametrize("seed", range(40))
def test_a_walk_is_within_a_tenth_of_the_shortest(seed: int) -> None:
    """On lists small enough to solve exactly the walk is at most 10 % longer than the shortest there is."""
    rng = np.random.default_rng([2026, seed])
    count = 5 + seed % 6
    places = rng.normal(0.0, 1.0, (count, 2)) if seed % 2 else np.repeat(rng.random((count, 2)), 1 + seed % 3, axis=0)
    places = places[:10] * 0.01 + (-114.0, 44.5)
    spots = _list([(float(x), float(y)) for x, y in places])
    lon, lat = spots.longitude, spots.latitude
    shortest = _shortest(distances_m(lon[:, None], lat[:, None], lon[None, :], lat[None, :]))
    assert shortest <= order_spots(spots, "walk").length_m <= 1.1 * shortest


def test_the_exact_solver_agrees_with_trying_every_order() -> None:
    """What the walk is measured by is right: on seven points it finds what trying all 720 orders finds."""
    points = np.random.default_rng(7).random((7, 2))
    distances = cdist(points, points)
    tried = min(
        sum(distances[a, b] for a, b in itertools.pairwise((0, *rest)))
        for rest in itertools.permutations(range(1, len(points)))
    )
    assert _shortest(distances) == pytest.approx(tried)


def test_a_walk_through_many_spots_is_short() -> None:
    """Through 1,500 random spots the walk is close to the known constant of the shortest: 0.7124 sqrt(n A).

    The constant is that of D. S. Johnson, L. A. McGeoch and E. E. Rothberg (SODA 1996) for large n; at the edge of a
    square a path of 1,500 points is about 2 % longer. The nearest neighbour alone is 25 % above it.
    """
    points = np.random.default_rng(11).random((1_500, 2))
    path = find_short_path(points)
    length = np.hypot(*np.diff(points[path], axis=0).T).sum()
    assert 0.95 < length / (0.7124 * np.sqrt(1_500)) < 1.1


def test_the_walk_sets_out_from_the_start() -> None:
    """With a start at the far end the walk begins there, and its length counts the way from the start."""
    spots = _list([(-114.0 + step * 1e-3, 44.5) for step in (0, 3, 1, 2)])
    walk = order_spots(spots, "walk", start=(-113.99, 44.5))
    assert spots.id[walk.rows].tolist() == ["H-002", "H-004", "H-003", "H-001"]
    assert walk.length_m == pytest.approx(float(distances_m(-113.99, 44.5, -114.0, 44.5)))


def test_the_walk_crosses_the_180th_meridian() -> None:
    """Spots on both sides of the meridian are neighbours."""
    spots = _list([(179.999, 0.0), (-179.998, 0.0), (-179.999, 0.0)])
    assert spots.id[order_spots(spots, "walk").rows].tolist() == ["H-001", "H-003", "H-002"]


def test_spots_without_a_position_come_last() -> None:
    """What has no place cannot be walked to, and is not left out."""
    spots = Detections(id=["H-001", "H-002"], longitude=[np.nan, -114.0], latitude=[np.nan, 44.5])
    assert order_spots(spots, "walk").rows.tolist() == [1, 0]
    assert order_spots(Detections(id=["H-001"]), "walk").rows.tolist() == [0]


def test_numbers_go_by_their_value() -> None:
    """H-999 comes before H-1000, and series by their letters."""
    numbers = ["K-001", "H-1000", "H-999", "", "7"]
    assert [numbers[row] for row in sort_numbers(numbers)] == ["", "7", "H-999", "H-1000", "K-001"]


def test_priority_puts_hot_first() -> None:
    """The order by priority is the one rule of the model."""
    spots = Detections(id=["H-001", "H-002"], longitude=[0.0, 0.0], latitude=[0.0, 0.0], status=["out", "hot"])
    assert order_spots(spots, "priority").rows.tolist() == [1, 0]


def test_an_unknown_order_is_refused() -> None:
    """There are three orders."""
    with pytest.raises(OptionError, match="is no order"):
        order_spots(Detections(), "distance")  # type: ignore[arg-type]


def test_the_walk_is_the_same_each_time() -> None:
    """Nothing in it is left to chance: the same spots give the same walk."""
    rng = np.random.default_rng(3)
    spots = _list([(float(x), float(y)) for x, y in rng.random((100, 2))])
    assert order_spots(spots, "walk").rows.tolist() == order_spots(spots, "walk").rows.tolist()
