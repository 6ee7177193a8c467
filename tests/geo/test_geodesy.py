import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from exchange.errors import CoordinateError
from exchange.geo.geodesy import (
    azimuths_degrees,
    destinations,
    distances_m,
    measure_polygon,
    path_length_m,
    steps_m,
)

LONGITUDES = st.floats(-180.0, 180.0)
LATITUDES = st.floats(-90.0, 90.0)


@given(LONGITUDES, LATITUDES, LONGITUDES, LATITUDES)
def test_distance_is_a_distance(longitude_1: float, latitude_1: float, longitude_2: float, latitude_2: float) -> None:
    """Distances are the same both ways, never negative, and at most half round the earth."""
    there = float(distances_m(longitude_1, latitude_1, longitude_2, latitude_2))
    back = float(distances_m(longitude_2, latitude_2, longitude_1, latitude_1))
    assert there == pytest.approx(back, abs=1e-6)
    assert 0.0 <= there <= 20_003_932.0


@given(LONGITUDES, st.floats(-89.0, 89.0), st.floats(0.0, 359.999), st.floats(1.0, 1_000_000.0))
def test_destination_is_where_distance_and_azimuth_say(
    longitude: float, latitude: float, azimuth: float, distance_m: float
) -> None:
    """A destination lies at its distance and in its azimuth."""
    reached = destinations(longitude, latitude, azimuth, distance_m)
    assert float(distances_m(longitude, latitude, *reached)) == pytest.approx(distance_m, abs=1e-6)
    found = float(azimuths_degrees(longitude, latitude, *reached))
    assert (found - azimuth + 180.0) % 360.0 - 180.0 == pytest.approx(0.0, abs=1e-5)


@given(LONGITUDES, LATITUDES, LONGITUDES, LATITUDES)
def test_azimuth_is_on_the_circle(longitude_1: float, latitude_1: float, longitude_2: float, latitude_2: float) -> None:
    """Azimuths are at least 0 and less than 360, also a hair west of north."""
    azimuth = float(azimuths_degrees(longitude_1, latitude_1, longitude_2, latitude_2))
    assert 0.0 <= azimuth < 360.0


def test_hair_west_of_north_is_north() -> None:
    """An azimuth that rounds to 360 is 0."""
    assert float(azimuths_degrees(0.0, 0.0, -1e-300, 1.0)) == 0.0


def test_columns_broadcast_and_missing_stays_missing() -> None:
    """One position against a column, tables of positions, and NaN on any side."""
    distances = distances_m(-120.0, 40.0, [-120.0, np.nan, -119.0], [41.0, 40.0, np.nan])
    assert np.isnan(distances).tolist() == [False, True, True]
    assert distances_m(np.zeros((2, 2)), 0.0, 1.0, 0.0).shape == (2, 2)
    assert np.isnan(azimuths_degrees(np.nan, 0.0, 1.0, 1.0))
    longitude, latitude = destinations([0.0, 0.0], 0.0, [90.0, np.nan], 1000.0)
    assert np.isnan(longitude).tolist() == np.isnan(latitude).tolist() == [False, True]


def test_path_leaves_missing_fixes_out() -> None:
    """A path is measured over the fixes it has; of none or one its length is 0."""
    longitude, latitude = [-120.0, np.nan, -120.0, -120.0], [40.0, 40.5, np.nan, 41.0]
    assert path_length_m(longitude, latitude) == pytest.approx(float(distances_m(-120.0, 40.0, -120.0, 41.0)))
    assert path_length_m([], []) == 0.0
    assert path_length_m([1.0], [1.0]) == 0.0
    assert steps_m([], []).shape == (0,)
    assert steps_m([0.0, 0.0, 0.0], [0.0, np.nan, 1.0]).shape == (2,)


def test_path_over_the_meridian_is_short() -> None:
    """A step across the 180th meridian is as short as it is on the ground."""
    assert path_length_m([179.999, -179.999], [0.0, 0.0]) == pytest.approx(222.6, abs=0.1)


def test_holes_are_subtracted_and_measured_apart() -> None:
    """An island's area is not part of the fire, and its line not of the fire's length."""
    outer, island = shapely.box(-120.1, 40.0, -120.0, 40.1), shapely.box(-120.06, 40.04, -120.05, 40.05)
    whole, hole = measure_polygon(outer), measure_polygon(island)
    fire = measure_polygon(shapely.Polygon(outer.exterior, [island.exterior]))
    assert fire.area_m2 == pytest.approx(whole.area_m2 - hole.area_m2, rel=1e-12)
    assert fire.length_m == pytest.approx(whole.length_m, rel=1e-12)
    assert fire.island_length_m == pytest.approx(hole.length_m, rel=1e-12)


def test_pieces_add_up() -> None:
    """A multipolygon measures the sum of its pieces, an empty polygon nothing, heights or not."""
    pieces = [shapely.box(-120.1, 40.0, -120.0, 40.1), shapely.box(-119.9, 40.0, -119.8, 40.1)]
    together = measure_polygon(shapely.MultiPolygon(pieces))
    assert together.area_m2 == pytest.approx(sum(measure_polygon(piece).area_m2 for piece in pieces), rel=1e-12)
    assert measure_polygon(shapely.Polygon()) == (0.0, 0.0, 0.0)
    assert measure_polygon(shapely.force_3d(pieces[0], 1500.0)) == measure_polygon(pieces[0])


def test_line_has_no_area() -> None:
    """What is no polygon is refused by its kind."""
    with pytest.raises(CoordinateError, match="a LineString has no area"):
        measure_polygon(shapely.LineString([(0, 0), (1, 1)]))
