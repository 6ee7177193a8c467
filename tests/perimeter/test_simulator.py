from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from shapely.geometry import Point, Polygon, box

from tests.perimeter.simulator.case import make_case
from tests.perimeter.simulator.edges import ACRE_M2, lobed, smooth, waisted
from tests.perimeter.simulator.place import Place
from tests.perimeter.simulator.scenarios import SCENARIOS, SOLVABLE
from tests.perimeter.simulator.scoring import farthest_m, score
from tests.perimeter.simulator.told import told_area

SEED = 540


def test_the_score_of_a_shifted_square_is_the_one_worked_out_by_hand() -> None:
    """A 100 m square shifted by 10 m: 9000 of 11000 m² in common; half of the edge 10 m off, half 0 to 10 m at ends."""
    found = score(box(10, 0, 110, 100), box(0, 0, 100, 100))
    assert found.iou == pytest.approx(9000 / 11000)
    assert found.area_error == pytest.approx(0.0)
    # Each square: one side 10 m outside, one 10 m inside but near the ends, two lying on the other but for 10 m.
    inside = (80 * 10 + 2 * sum(range(10))) / 100
    assert found.mean_m == pytest.approx((10 + inside + 2 * 0.5) / 4, rel=0.02)
    assert found.p95_m == pytest.approx(10.0)
    assert farthest_m(box(10, 0, 110, 100), box(0, 0, 100, 100)) == pytest.approx(10.0)


def test_a_missed_island_counts_as_edge() -> None:
    """The edge of an island that was not found is as far off as it lies from any edge."""
    whole = box(0, 0, 100, 100)
    holed = Polygon(whole.exterior, [box(40, 40, 60, 60).exterior])
    assert score(whole, holed).mean_m > 1.0
    assert score(whole, holed).area_error == pytest.approx(400 / 9600)


@pytest.mark.parametrize("make", [smooth, lobed, waisted])
@pytest.mark.parametrize("acres", [4.0, 300.0])
def test_edges_are_simple_and_about_as_large_as_asked_for(make: object, acres: float) -> None:
    """An invented edge is a valid ring, counter-clockwise, of about the area wanted."""
    (ring,) = make(np.random.default_rng(SEED), acres).rings
    assert ring.polygon.is_valid
    assert ring.polygon.exterior.is_ccw
    assert ring.polygon.area / ACRE_M2 == pytest.approx(acres, rel=0.6)


@pytest.mark.parametrize("name", SCENARIOS)
def test_a_case_is_made_again_from_its_name_and_seed(name: str) -> None:
    """The same name and seed give the same tracks, and another seed others."""
    first, second, other = make_case(name, SEED), make_case(name, SEED), make_case(name, SEED + 1)
    assert first.tracks == second.tracks
    assert first.tracks != other.tracks


@pytest.mark.parametrize("name", SOLVABLE)
def test_labels_tell_the_truth(name: str) -> None:
    """Fixes labelled as on the ring lie within five times the largest noise of the line flown."""
    case = make_case(name, SEED)
    for flight in case.flights:
        for number, ring in enumerate(case.flown.rings):
            rows = (flight.doing == "ring") & (flight.ring == number)
            away = shapely.distance(shapely.linearrings(ring.corners), shapely.points(flight.places[rows]))
            looks_aside = "camera_log" in case.scenario.effects
            assert looks_aside or (away < 15.0).all()


@pytest.mark.parametrize("name", SOLVABLE)
def test_the_told_solver_reaches_the_edge(name: str) -> None:
    """Told every label, a simple solver comes near: the ceiling is one, and the case is solvable."""
    case = make_case(name, SEED)
    found = score(told_area(case), case.truth)
    # An acre flown with noise of 3 m and dropouts of ten seconds holds no more than this.
    assert found.iou > 0.7
    assert found.mean_m < 6.0


@given(st.floats(-180, 180), st.floats(-89, 89), st.floats(-30_000, 30_000), st.floats(-30_000, 30_000))
def test_metres_and_degrees_are_each_other_again(longitude: float, latitude: float, east: float, north: float) -> None:
    """Any place within 30 km comes back to a centimetre, which is what seven decimals hold."""
    place, there = Place(longitude, latitude), np.array([[east, north]])
    # Near a pole seven decimals of longitude are finer still.
    back = place.to_metres(np.column_stack(place.to_degrees(there)))
    assert math.hypot(*(back - there)[0]) < 0.012


def test_islands_lie_inside_and_apart() -> None:
    """Every island lies within the first ring, and no two touch."""
    case = make_case("islands_two", SEED)
    outer, *islands = case.edge.rings
    assert len(islands) == 2
    assert all(outer.polygon.contains(island.polygon) for island in islands)
    assert not islands[0].polygon.intersects(islands[1].polygon)
    assert not case.truth.contains(Point(islands[0].corners.mean(axis=0)))
