import numpy as np
import pytest
from shapely import MultiPolygon, Polygon, box

from exchange.errors import CoordinateError
from exchange.geo.antimeridian import cut
from exchange.geo.edge import measure_to_edge

SQUARE = Polygon(box(0.0, 0.0, 0.01, 0.01).exterior, [box(0.004, 0.004, 0.006, 0.006).exterior])


def test_an_island_is_outside_and_its_edge_counts() -> None:
    """In an unburned island a spot is outside, and the nearest edge is the island's."""
    found = measure_to_edge([0.005, 0.001], [0.0055, 0.005], SQUARE)
    assert found.is_inside.tolist() == [False, True]
    # A thousandth of a degree is 111.32 m of the equator and 110.57 m of its meridian (WGS 84 axes).
    assert found.distance_m == pytest.approx([110.574 / 2, 111.319], abs=0.01)
    assert (found.azimuth_degrees + 90.0) % 360.0 == pytest.approx([90.0, 0.0], abs=1e-3)


def test_the_180th_meridian_is_a_place_like_any_other() -> None:
    """Beside the seam of a polygon that was cut at the 180th meridian there is no edge."""
    seam = cut(box(179.99, 0.0, 180.01, 0.02))
    assert isinstance(seam, MultiPolygon)
    found = measure_to_edge([180.0, -179.999], [0.001, 0.001], seam)
    assert found.is_inside.tolist() == [True, True]
    assert found.distance_m == pytest.approx([110.574, 110.574], abs=0.01)


def test_a_missing_position_has_no_distance() -> None:
    """A spot without a position is NaN from the edge and not inside; an empty list is no error."""
    found = measure_to_edge([np.nan], [0.0], SQUARE)
    assert np.isnan(found.distance_m[0])
    assert np.isnan(found.azimuth_degrees[0])
    assert not found.is_inside[0]
    assert len(measure_to_edge([], [], SQUARE).distance_m) == 0


def test_an_empty_area_is_refused() -> None:
    """There is no distance to the edge of nothing."""
    with pytest.raises(CoordinateError, match="no position"):
        measure_to_edge([0.0], [0.0], Polygon())
