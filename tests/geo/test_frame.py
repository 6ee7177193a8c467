import numpy as np
import pytest
import shapely
from hypothesis import example, given
from hypothesis import strategies as st

from exchange.errors import CoordinateError
from exchange.geo.antimeridian import cut
from exchange.geo.frame import LocalFrame
from exchange.geo.geodesy import azimuths_degrees, destinations, distances_m

CENTRES = st.tuples(st.floats(-180.0, 180.0), st.floats(-90.0, 90.0))
OFFSETS_M = st.lists(st.tuples(st.floats(-50_000.0, 50_000.0), st.floats(-50_000.0, 50_000.0)), min_size=1, max_size=8)


@given(CENTRES, OFFSETS_M)
@example((180.0, 0.0), [(10.0, 0.0), (-10.0, 0.0)])
@example((0.0, 90.0), [(100.0, 100.0)])
@example((-120.0, -90.0), [(1.0, 0.0)])
def test_metres_and_degrees_come_back(centre: tuple[float, float], offsets: list[tuple[float, float]]) -> None:
    """Metres to degrees and back is the same to a micrometre anywhere on the earth, save on the centre itself.

    PROJ takes what is nearer to the centre than 1e-10 radians, 0.64 mm, for the centre.
    """
    frame = LocalFrame(*centre)
    x, y = np.array(offsets).T
    x, y = np.where(np.hypot(x, y) < 1e-3, 0.0, x), np.where(np.hypot(x, y) < 1e-3, 0.0, y)
    longitude, latitude = frame.to_degrees(x, y)
    assert (np.abs(longitude) <= 180.0).all()
    again = frame.to_metres(longitude, latitude)
    assert again[0] == pytest.approx(x, abs=1e-6)
    assert again[1] == pytest.approx(y, abs=1e-6)


@given(CENTRES, st.floats(0.0, 360.0), st.floats(0.01, 100_000.0))
def test_distance_and_azimuth_from_the_centre_are_exact(
    centre: tuple[float, float], azimuth: float, distance_m: float
) -> None:
    """A place at a distance and azimuth from the centre lies there in the frame, to the millimetre.

    PROJ takes a centre within 1e-10 radians of the equator, 0.64 mm, for one on it.
    """
    x, y = LocalFrame(*centre).to_metres(*destinations(*centre, azimuth, distance_m))
    expected = distance_m * np.sin(np.radians(azimuth)), distance_m * np.cos(np.radians(azimuth))
    # At a pole every direction is one along a meridian; only the distance is left.
    if abs(centre[1]) > 89.999999:
        assert float(np.hypot(x, y)) == pytest.approx(distance_m, abs=7e-4)
    else:
        assert (float(x), float(y)) == pytest.approx(expected, abs=7e-4)


@given(st.tuples(st.floats(-180.0, 180.0), st.floats(-85.0, 85.0)), OFFSETS_M)
def test_scale_away_from_the_centre_is_as_told(centre: tuple[float, float], offsets: list[tuple[float, float]]) -> None:
    """Between two places anywhere within 71 km the flat distance is wrong by no more than d²/(3R²)."""
    frame = LocalFrame(*centre)
    x, y = np.array(offsets).T
    longitude, latitude = frame.to_degrees(x, y)
    flat = np.hypot(x - x[0], y - y[0])
    true = distances_m(longitude[0], latitude[0], longitude, latitude)
    furthest = np.hypot(x, y).max()
    assert flat == pytest.approx(true, rel=furthest**2 / (3.0 * 6_356_000.0**2) + 1e-12, abs=7e-4)


@given(CENTRES, st.lists(st.tuples(st.floats(-20_000, 20_000), st.floats(-20_000, 20_000)), min_size=1, max_size=9))
def test_frame_is_centred_on_its_positions(centre: tuple[float, float], offsets: list[tuple[float, float]]) -> None:
    """The frame around positions has its centre among them, wherever they lie."""
    x, y = np.array(offsets).T
    longitude, latitude = LocalFrame(*centre).to_degrees(x, y)
    frame = LocalFrame.around(longitude, latitude)
    x_around, y_around = frame.to_metres(longitude, latitude)
    assert float(x_around.mean()) == pytest.approx(0.0, abs=5.0)
    assert float(y_around.mean()) == pytest.approx(0.0, abs=5.0)


def test_middle_of_the_meridian_is_not_greenwich() -> None:
    """Positions on both sides of the 180th meridian have their middle there."""
    frame = LocalFrame.around([179.0, -179.0], [10.0, 10.0])
    assert abs(frame.longitude) == pytest.approx(180.0, abs=1e-9)
    assert frame.latitude == pytest.approx(10.0, abs=0.01)


def test_middle_of_a_polar_ring_is_the_pole() -> None:
    """Positions all around the pole have their middle at the pole, which no mean of their longitudes gives."""
    frame = LocalFrame.around([0.0, 90.0, 180.0, -90.0], [89.9] * 4)
    assert frame.latitude == pytest.approx(90.0, abs=1e-6)


def test_missing_positions_stay_missing() -> None:
    """NaN on either axis is left out of the centre and comes out as NaN on both axes."""
    frame = LocalFrame.around([np.nan, -120.0, -120.0], [40.0, np.nan, 40.0])
    assert (frame.longitude, frame.latitude) == pytest.approx((-120.0, 40.0))
    x, y = frame.to_metres([np.nan, -120.0, -120.0], [40.0, np.nan, 40.0])
    assert np.isnan(x).tolist() == np.isnan(y).tolist() == [True, True, False]
    longitude, latitude = frame.to_degrees([np.nan, 0.0], [0.0, 0.0])
    assert np.isnan(longitude).tolist() == np.isnan(latitude).tolist() == [True, False]


def test_no_middle_is_refused() -> None:
    """Nothing, only missing values, or places all around the earth have no middle."""
    with pytest.raises(CoordinateError, match="no position to centre"):
        LocalFrame.around([], [])
    with pytest.raises(CoordinateError, match="no position to centre"):
        LocalFrame.around([np.nan], [np.nan])
    with pytest.raises(CoordinateError, match="have no middle"):
        LocalFrame.around([0.0, 180.0], [0.0, 0.0])


def test_shapes_are_kept() -> None:
    """Numbers, empty columns and tables of positions come back in their own shape."""
    frame = LocalFrame(-120.0, 40.0)
    assert frame.to_metres(-120.0, 40.0)[0].shape == ()
    assert frame.to_metres([], [])[0].shape == (0,)
    assert frame.to_degrees(np.zeros((2, 3)), np.zeros((2, 3)))[1].shape == (2, 3)


@pytest.mark.parametrize(
    "geometry",
    [
        shapely.Point(-120.01, 40.01),
        shapely.LineString([(-120.0, 40.0, 1200.0), (-120.01, 40.02, 1250.0)]),
        shapely.Polygon(
            shapely.box(-120.02, 39.98, -119.98, 40.02).exterior, [shapely.box(-120.001, 40, -120, 40.001).exterior]
        ),
        shapely.MultiPolygon([shapely.box(-120.02, 40.0, -120.01, 40.01), shapely.box(-119.99, 40.0, -119.98, 40.01)]),
        shapely.Polygon(),
    ],
    ids=["point", "line with heights", "polygon with island", "two pieces", "empty"],
)
def test_geometries_come_back(geometry: shapely.Geometry) -> None:
    """A geometry to metres and back is the same to a micrometre, heights to the bit."""
    frame = LocalFrame(-120.0, 40.0)
    again = frame.geometry_to_degrees(frame.geometry_to_metres(geometry))
    assert again.geom_type == geometry.geom_type
    assert again.has_z is geometry.has_z
    np.testing.assert_allclose(
        shapely.get_coordinates(again, include_z=True), shapely.get_coordinates(geometry, include_z=True), atol=1e-11
    )


def test_arrays_of_geometries_are_taken() -> None:
    """Arrays of geometries, with and without heights, missing ones among them, come back in their shape."""
    frame = LocalFrame(-120.0, 40.0)
    geometries = np.array([shapely.Point(-120, 40), None, shapely.Point(-120.1, 40.1, 1500.0)], dtype=object)
    metres = frame.geometry_to_metres(geometries)
    assert metres[1] is None
    assert metres[2].z == 1500.0
    assert frame.geometry_to_degrees(metres)[0].x == pytest.approx(-120.0, abs=1e-12)


def test_fire_on_the_meridian_is_whole_in_metres_and_cut_in_degrees() -> None:
    """A cut perimeter is one piece in the frame, and cut again on the way out."""
    fire = cut(shapely.box(179.99, 51.99, 180.01, 52.01))
    frame = LocalFrame(180.0, 52.0)
    metres = frame.geometry_to_metres(fire)
    assert metres.geom_type == "Polygon"
    assert metres.area == pytest.approx(1373.2 * 2225.6, rel=1e-3)
    again = frame.geometry_to_degrees(metres)
    assert again.geom_type == "MultiPolygon"
    assert again.symmetric_difference(fire).area == pytest.approx(0.0, abs=1e-10)


def test_north_is_up() -> None:
    """North of the centre is positive y, east positive x, as the azimuth says."""
    frame = LocalFrame(-120.0, 40.0)
    x, y = frame.to_metres([-120.0, -119.99], [40.01, 40.0])
    assert y[0] > 1000.0 > abs(x[0])
    assert x[1] > 800.0 > abs(y[1])
    assert float(azimuths_degrees(-120.0, 40.0, -119.99, 40.0)) == pytest.approx(90.0, abs=0.01)
