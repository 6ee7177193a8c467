from __future__ import annotations

import numpy as np
import pytest
import shapely
from numpy.typing import NDArray

from exchange.perimeter.paths import Path, to_path
from exchange.perimeter.readings.cells import OUTSIDE, cut_plane, find_sides
from exchange.perimeter.readings.reading import read_tracks
from exchange.perimeter.readings.ways import Bends

Floats = NDArray[np.float64]
NEAR_M = 8.0
RADIUS_M = 120.0


def along(*corners: tuple[float, float]) -> Floats:
    """Return places every metre or so along straight lines."""
    line = shapely.segmentize(shapely.LineString(corners), 1.0)
    return shapely.get_coordinates(line)


def around(start_degrees: float, end_degrees: float) -> Floats:
    """Return places along a wavy ring about the origin."""
    turn = np.radians(np.linspace(start_degrees, end_degrees, 2000))
    reach = RADIUS_M + 6.0 * np.cos(9.0 * turn)
    return np.column_stack([reach * np.cos(turn), reach * np.sin(turn)])


def to_flight(places: Floats) -> Path:
    """Return a flight without times."""
    return to_path(places, np.full(len(places), np.nan), 2.5)


def whole_ring() -> shapely.Geometry:
    """Return the area of the wavy ring."""
    return shapely.Polygon(around(0.0, 360.0))


def share_in_common(one: shapely.Geometry, other: shapely.Geometry) -> float:
    """Return the area that two have in common over that of both together."""
    return float(shapely.intersection(one, other).area / shapely.union(one, other).area)


def test_a_line_across_a_square_cuts_it_in_two() -> None:
    """A square with a line across has two cells, which together are the square."""
    square = along((0, 0), (200, 0), (200, 100), (0, 100), (0, 0))
    cells = cut_plane([square, along((50, -30), (60, 130))], near_m=NEAR_M)
    assert len(cells) == 3
    area = cells.area_of(np.array([False, True, True]))
    assert area.area == pytest.approx(20_000.0, rel=0.01)


def test_lines_side_by_side_cut_as_one() -> None:
    """Two laps three metres apart leave one cell and no sliver between them."""
    inner, outer = (around(0.0, 360.0) * (1.0 + share) for share in (0.0, 0.025))
    assert len(cut_plane([inner, outer], near_m=NEAR_M)) == 2


def test_sides_of_a_line() -> None:
    """Flown counter-clockwise, the inside of a ring lies on the left and the outside on the right."""
    ring = around(0.0, 360.0)
    cells = cut_plane([ring], near_m=NEAR_M)
    ahead = np.gradient(ring, axis=0)
    sides = find_sides(cells, ring, ahead / np.hypot(*ahead.T)[:, None])
    assert (sides[:, 0] == 1).all()
    assert (sides[:, 1] == OUTSIDE).all()


def test_bends() -> None:
    """A straight line is one bend, a line with a corner two, and a ring more."""
    straight = to_flight(along((0, 0), (300, 0))).even
    cornered = to_flight(along((0, 0), (300, 0), (300, 300))).even
    ring = to_flight(around(0.0, 360.0)).even
    counts = [Bends(xy, 2.5).count(0, len(xy) - 1) for xy in (straight, cornered, ring)]
    assert counts[0] == pytest.approx(1.0)
    assert 1.0 < counts[1] < 3.0
    assert counts[2] > 4.0


@pytest.mark.parametrize("launch", [(300.0, 40.0), (20.0, 10.0)], ids=["outside", "inside"])
def test_ways_from_a_launch_are_no_edge(launch: tuple[float, float]) -> None:
    """A ring flown once and a bit, with ways from a launch and back, is the ring and not what the ways enclose."""
    ring = around(10.0, 420.0)
    flight = np.vstack([along(launch, tuple(ring[0])), ring, along(tuple(ring[-1]), launch)])
    reading = read_tracks([to_flight(flight)], near_m=NEAR_M)
    assert reading is not None
    assert share_in_common(reading.area, whole_ring()) > 0.97
    assert not len(reading.tips)


def test_an_island_is_no_fire() -> None:
    """A second ring inside the first, flown in the same flight, stays unburned."""
    ring, island = around(0.0, 362.0), 0.3 * around(0.0, 362.0) + [10.0, 0.0]
    flight = np.vstack([ring, along(tuple(ring[-1]), tuple(island[0])), island])
    reading = read_tracks([to_flight(flight)], near_m=NEAR_M)
    assert reading is not None
    burned = shapely.difference(whole_ring(), shapely.Polygon(0.3 * around(0.0, 360.0) + [10.0, 0.0]))
    assert share_in_common(reading.area, burned) > 0.95


def test_a_gap_is_closed_straight_and_told() -> None:
    """A ring that lacks thirty metres is closed by one link."""
    reading = read_tracks([to_flight(around(0.0, 345.0))], near_m=NEAR_M)
    assert reading is not None
    assert len(reading.used_links) == 1
    assert share_in_common(reading.area, whole_ring()) > 0.97


def test_order_and_direction_change_nothing() -> None:
    """Two flights in the other order, one of them backwards, read the same but for how lines were simplified."""
    one, two = to_flight(around(0.0, 200.0)), to_flight(around(180.0, 380.0))
    first = read_tracks([one, two], near_m=NEAR_M)
    second = read_tracks([two.reversed(), one], near_m=NEAR_M)
    assert first is not None
    assert second is not None
    assert share_in_common(first.area, second.area) > 0.99
