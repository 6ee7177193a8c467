from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from shapely.geometry import MultiPolygon, Polygon, box

from exchange.geo.frame import LocalFrame
from exchange.geo.units import convert
from exchange.model import Perimeter
from exchange.perimeter.compare import compare_perimeters

FRAME = LocalFrame(-114.0, 44.5)


def perimeter(area: shapely.Geometry, *, frame: LocalFrame = FRAME, accuracy: float = math.nan) -> Perimeter:
    """Return an area in metres as a perimeter."""
    return Perimeter(geometry=frame.geometry_to_degrees(area), accuracy=accuracy)


SQUARE = box(-100, -100, 100, 100)


@pytest.mark.parametrize("longitude", [-114.0, 180.0], ids=["land", "180th-meridian"])
def test_a_side_that_moved_is_told_with_place_distance_and_direction(longitude: float) -> None:
    """A square grows eastward by 30 m: 6000 m² added, nothing lost, the edge moved 30 m towards 90°."""
    frame = LocalFrame(longitude, 44.5)
    growth = compare_perimeters(perimeter(SQUARE, frame=frame), perimeter(box(-100, -100, 130, 100), frame=frame))
    assert growth.added_m2 == pytest.approx(6000.0, abs=0.5)
    # Where an edge is cut at the 180th meridian the cut lies some tenths of a millimetre off the straight line.
    assert growth.lost_m2 == pytest.approx(0.0, abs=0.1)
    assert growth.later_area_m2 - growth.earlier_area_m2 == pytest.approx(6000.0, abs=0.5)
    assert growth.moved_most_m == pytest.approx(30.0, abs=1e-3)
    assert growth.is_outward
    assert growth.moved_most_azimuth_degrees == pytest.approx(90.0, abs=0.01)
    (east,), (north,) = frame.to_metres([growth.moved_most_at[0]], [growth.moved_most_at[1]])
    assert east == pytest.approx(130.0, abs=1e-3)
    assert abs(north) <= 100.0
    # 200 of 860 m of edge moved by 30 m, twice 30 m by 15 m in the mean.
    assert growth.mean_movement_m == pytest.approx((200 * 30 + 60 * 15) / 860, rel=0.01)


def test_an_edge_that_was_drawn_back_moved_inward() -> None:
    """Ground that the later perimeter leaves out is lost, and the movement there is negative."""
    growth = compare_perimeters(perimeter(SQUARE), perimeter(box(-100, -100, 100, 60)))
    assert growth.lost_m2 == pytest.approx(8000.0, abs=0.5)
    assert growth.added_m2 == pytest.approx(0.0, abs=1e-3)
    assert (growth.is_outward, round(growth.moved_most_azimuth_degrees)) == (False, 180)
    assert growth.moved_most_m == pytest.approx(40.0, abs=1e-3)
    assert growth.mean_movement_m < 0


def test_two_fires_are_told_apart() -> None:
    """A later perimeter that meets the earlier one nowhere is told to be apart, one that touches it is not."""
    assert compare_perimeters(perimeter(SQUARE), perimeter(box(500, 500, 600, 600))).is_apart
    assert not compare_perimeters(perimeter(SQUARE), perimeter(box(100, 0, 200, 100))).is_apart


def test_the_same_perimeter_did_not_move() -> None:
    """Compared with itself nothing is added, lost or moved."""
    growth = compare_perimeters(perimeter(SQUARE, accuracy=2.0), perimeter(SQUARE, accuracy=2.0))
    assert growth.added_m2 == pytest.approx(0.0, abs=1e-3)
    assert growth.moved_most_m == pytest.approx(0.0, abs=1e-6)
    assert growth.is_within_error


def test_an_island_found_later_is_lost_ground_and_no_movement() -> None:
    """Unburned ground that was mapped since is told in the areas, not as an edge that ran."""
    holed = Polygon(SQUARE.exterior, [box(-20, -20, 20, 20).exterior])
    growth = compare_perimeters(perimeter(SQUARE), perimeter(holed))
    assert growth.lost_m2 == pytest.approx(1600.0, abs=0.5)
    assert growth.moved_most_m == pytest.approx(0.0, abs=1e-6)


def test_a_new_part_is_counted_and_does_not_count_as_movement() -> None:
    """A spot fire across the line is added ground and a new part; the main edge did not move to it."""
    growth = compare_perimeters(perimeter(SQUARE), perimeter(MultiPolygon([SQUARE, box(400, 0, 450, 50)])))
    assert growth.new_parts == 1
    assert growth.added_m2 == pytest.approx(2500.0, abs=0.5)
    assert growth.moved_most_m == pytest.approx(0.0, abs=1e-6)
    assert ("new parts", "1, apart from all that burned before") in growth.lines()


def test_perimeters_that_do_not_touch_have_no_movement() -> None:
    """Two fires apart cannot be compared edge by edge, and the report says so instead of giving a number."""
    growth = compare_perimeters(perimeter(SQUARE), perimeter(box(1000, 0, 1100, 100)))
    assert math.isnan(growth.moved_most_m)
    assert growth.as_dict()["moved_most_m"] is None
    assert growth.as_dict()["moved_most_at"] is None
    assert dict(growth.lines())["moved most"] == "the two perimeters do not touch: check that both are of one fire"


def test_movement_within_the_error_of_both_is_called_so() -> None:
    """3 m of movement between perimeters good to 3 m and 4 m (together 5 m) is not called growth."""
    growth = compare_perimeters(perimeter(SQUARE, accuracy=3.0), perimeter(SQUARE.buffer(3.0), accuracy=4.0))
    assert growth.expected_error_m == pytest.approx(5.0)
    assert growth.is_within_error
    assert "no movement is beyond the 5.0 m" in dict(growth.lines())["believe"]


def test_areas_are_told_in_hectares_and_acres() -> None:
    """The report gives both units of the trade, the acre as the international foot makes it."""
    report = compare_perimeters(perimeter(SQUARE), perimeter(box(-100, -100, 130, 100))).as_dict()
    assert report["added_acres"] == pytest.approx(convert(report["added_m2"], "m2", "acre"))
    assert report["added_ha"] == pytest.approx(0.6, abs=1e-4)


@given(st.floats(5, 60), st.floats(0, 2 * math.pi), st.integers(6, 40))
def test_earlier_and_later_exchanged_exchange_added_and_lost(shift: float, turn: float, corners: int) -> None:
    """What one way is added is lost the other way, and area before plus added less lost is area now."""
    angle = np.linspace(0, 2 * math.pi, corners, endpoint=False)
    first = Polygon(80 * np.column_stack([np.cos(angle), np.sin(angle)]))
    second = shapely.affinity.translate(first, shift * math.cos(turn), shift * math.sin(turn))
    there, back = (compare_perimeters(perimeter(a), perimeter(b)) for a, b in ((first, second), (second, first)))
    assert there.added_m2 == pytest.approx(back.lost_m2, abs=0.01)
    assert there.earlier_area_m2 + there.added_m2 - there.lost_m2 == pytest.approx(there.later_area_m2, abs=0.01)
    assert 0 < there.moved_most_m <= shift + 1e-6
