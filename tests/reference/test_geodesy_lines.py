"""Geodesic lines and polygons against published values; the status of each source is told beside it.

'read' means that the value was read in the source itself or in a verbatim copy of it, 'second-hand' that it was read
in a text that quotes the source, 'recomputed' that an independent library (geographiclib, the Debian GeographicLib
tools) gives the same.
"""

import re

import numpy as np
import pytest
import shapely
from geographiclib.test.test_geodesic import GeodesicTest

from exchange.geo.geodesy import (
    azimuths_degrees,
    destinations,
    distances_m,
    measure_polygon,
    path_length_m,
    steps_m,
    wgs84,
)
from tests.reference.packages import package_files

# WGS 84: NGA.STND.0036; GeographicLib Constants. Read, recomputed.
SEMI_MAJOR_M = 6378137.0
SEMI_MINOR_M = 6356752.314245179
ECCENTRICITY_SQUARED = 0.0066943799901413165

# lat1, lon1, azi1, lat2, lon2, azi2, s12, a12, m12, M12, M21, S12: the 20 lines of GeographicLib's own tests
# (geographiclib/test/test_geodesic.py in the registry's package; also tests/geodtest.cpp). Read.
TWENTY_LINES = np.array(GeodesicTest.testcases)

FLINDERS_PEAK = (144 + 25 / 60 + 29.52440 / 3600, -(37 + 57 / 60 + 3.72030 / 3600))
BUNINYONG = (143 + 55 / 60 + 35.38390 / 3600, -(37 + 39 / 60 + 10.15610 / 3600))


def _fold(degrees: np.ndarray) -> np.ndarray:
    return (np.asarray(degrees) + 180.0) % 360.0 - 180.0


def test_ellipsoid_is_wgs84() -> None:
    """The ellipsoid is WGS 84 to the last digit."""
    assert wgs84().a == SEMI_MAJOR_M
    assert wgs84().b == pytest.approx(SEMI_MINOR_M, abs=1e-8)
    assert wgs84().es == pytest.approx(ECCENTRICITY_SQUARED, abs=2e-17)


def test_twenty_lines_of_geographiclib() -> None:
    """Distance to 1e-8 m, azimuth to 1e-11 and destination to 1e-11 degrees, for all 20 lines at once."""
    lat1, lon1, azi1, lat2, lon2, _, s12 = TWENTY_LINES[:, :7].T
    assert len(TWENTY_LINES) == 20
    assert distances_m(lon1, lat1, _fold(lon2), lat2) == pytest.approx(s12, abs=1e-8)
    assert _fold(azimuths_degrees(lon1, lat1, lon2, lat2) - azi1) == pytest.approx(np.zeros(20), abs=1e-11)
    reached_longitude, reached_latitude = destinations(lon1, lat1, azi1, s12)
    assert reached_latitude == pytest.approx(lat2, abs=1e-11)
    assert _fold(reached_longitude - lon2) == pytest.approx(np.zeros(20), abs=1e-11)


def test_five_hundred_lines_of_geodtest() -> None:
    """Distance to 1e-8 m and destination to 1e-10 degrees, for the first 500 lines of GeodTest.dat.

    C. F. F. Karney, 'Test set for geodesics' (Zenodo 32156), as the source distribution of PyGeodesy carries them;
    read. The file is parsed, not imported.
    """
    text = (package_files("pygeodesy", "26.10.26") / "test" / "testEllipsoidalGeodTest.py").read_text("utf-8")
    lines = np.array([row.split() for row in re.findall(r"^(?:-?[0-9.e-]+ ){9}-?[0-9.e-]+", text, re.M)], np.float64)
    assert len(lines) == 500
    lat1, lon1, azi1, lat2, lon2, _, s12 = lines[:, :7].T
    # Almost antipodal lines have many shortest ways; the distance is one, the azimuth not.
    assert distances_m(lon1, lat1, lon2, lat2) == pytest.approx(s12, abs=1e-8)
    reached_longitude, reached_latitude = destinations(lon1, lat1, azi1, s12)
    assert reached_latitude == pytest.approx(lat2, abs=1e-10)
    apart = distances_m(reached_longitude, reached_latitude, lon2, lat2)
    assert apart == pytest.approx(np.zeros(500), abs=1e-5)


@pytest.mark.parametrize(
    ("start", "end", "metres", "within_m"),
    [
        # GeographicLib for Python, documentation, 'Basic geodesic calculations'. Read, recomputed.
        ((174.81, -41.32), (-5.50, 40.96), 19959679.267, 1e-3),
        # The same, 'Computing waypoints'. Read.
        ((116.6, 40.1), (-122.4, 37.6), 9513998.0, 1.0),
        # Karney, Journal of Geodesy 87 (2013), table 3: a short line. Second-hand, recomputed.
        ((0.0, -30.12345), (0.00005, -30.12344), 4.944208, 1e-6),
        # The same, table 5: almost antipodal. From memory, recomputed.
        ((0.0, -30.0), (179.8, 29.9), 19989832.827610, 1e-6),
        # Flinders Peak to Buninyong, GDA technical manual (on GRS 80; WGS 84 is 0.1 mm off at most).
        # Second-hand, recomputed.
        (FLINDERS_PEAK, BUNINYONG, 54972.271, 1e-3),
    ],
)
def test_published_distances(
    start: tuple[float, float], end: tuple[float, float], metres: float, within_m: float
) -> None:
    """Published distances come out to the digits they are published with."""
    assert float(distances_m(*start, *end)) == pytest.approx(metres, abs=within_m)


def test_published_azimuths() -> None:
    """Published azimuths come out: Karney 2013 tables 3 and 5, Flinders Peak 306°52'05.37" and 127°10'25.07"."""
    assert float(azimuths_degrees(0.0, -30.12345, 0.00005, -30.12344)) == pytest.approx(77.043533, abs=1e-6)
    assert float(azimuths_degrees(0.0, -30.0, 179.8, 29.9)) == pytest.approx(161.890525, abs=1e-6)
    there = float(azimuths_degrees(*FLINDERS_PEAK, *BUNINYONG))
    back = float(azimuths_degrees(*BUNINYONG, *FLINDERS_PEAK))
    assert there == pytest.approx(306 + 52 / 60 + 5.37 / 3600, abs=0.01 / 3600)
    assert back == pytest.approx(127 + 10 / 60 + 25.07 / 3600, abs=0.01 / 3600)


def test_published_destinations() -> None:
    """Published direct solutions come out, over the 180th meridian as well."""
    # GeographicLib for Python, documentation, 'Basic geodesic calculations'. Read, recomputed.
    longitude, latitude = destinations(115.74, -32.06, 225.0, 20_000_000.0)
    assert (float(latitude), float(longitude)) == pytest.approx((32.11195529, -63.95925278), abs=1e-8)
    # The same, 'Computing waypoints': 5000 km on, unrolled 183.03167. Read.
    azimuth = azimuths_degrees(116.6, 40.1, -122.4, 37.6)
    longitude, latitude = destinations(116.6, 40.1, azimuth, 5_000_000.0)
    assert (float(latitude), float(longitude)) == pytest.approx((58.43499, 183.03167 - 360.0), abs=1e-5)
    # Karney 2013, table 2. Second-hand, recomputed.
    longitude, latitude = destinations(0.0, 40.0, 30.0, 10_000_000.0)
    assert (float(latitude), float(longitude)) == pytest.approx((41.79331020506, 137.84490004377), abs=1e-10)


# Eighteen points around Antarctica: GeographicLib for Python, documentation, 'Measuring areas'. Read, recomputed.
ANTARCTICA = [
    (-63.1, -58),
    (-72.9, -74),
    (-71.9, -102),
    (-74.9, -102),
    (-74.3, -131),
    (-77.5, -163),
    (-77.4, 163),
    (-71.7, 172),
    (-65.9, 140),
    (-65.7, 113),
    (-66.6, 88),
    (-66.9, 59),
    (-69.8, 25),
    (-70.0, -4),
    (-71.0, -14),
    (-77.3, -33),
    (-77.9, -46),
    (-74.7, -61),
]


@pytest.mark.parametrize(
    ("latitude_longitude", "area_m2", "length_m", "area_within_m2", "length_within_m"),
    [
        (ANTARCTICA, 13662703680020.1, 16831067.893, 0.1, 1e-3),
        # Planimeter0 and Planimeter29 of GeographicLib's tests. Read, recomputed.
        ([(89, 0), (89, 90), (89, 180), (89, 270)], 24952305678.0, 631819.8745, 1.0, 1e-4),
        ([(-89, 0), (-89, 90), (-89, 180), (-89, 270)], 24952305678.0, 631819.8745, 1.0, 1e-4),
        ([(0, -1), (-1, 0), (0, 1), (1, 0)], 24619419146.0, 627598.2731, 1.0, 1e-4),
        # Planimeter15, area only. Read.
        ([(2, 1), (1, 2), (3, 3)], 18454562325.45119, None, 0.5, None),
        # One degree at the equator: GeographicLib documentation. Read, recomputed.
        ([(0, 0), (0, 1), (1, 1), (1, 0)], 12308778361.469452, 443770.917248302, 1e-3, 1e-6),
    ],
    ids=["antarctica", "north pole", "south pole", "diamond", "triangle", "one degree"],
)
def test_published_polygons(
    latitude_longitude: list[tuple[float, float]],
    area_m2: float,
    length_m: float | None,
    area_within_m2: float,
    length_within_m: float | None,
) -> None:
    """Published areas and lengths come out, whichever way the ring runs."""
    ring = [(longitude, latitude) for latitude, longitude in latitude_longitude]
    for positions in (ring, ring[::-1]):
        measure = measure_polygon(shapely.Polygon(positions))
        assert measure.area_m2 == pytest.approx(area_m2, abs=area_within_m2)
        if length_m is not None:
            assert measure.length_m == pytest.approx(length_m, abs=length_within_m)


def test_square_of_one_kilometre() -> None:
    """A square laid out by four geodesics of 1 km holds 1,000,000 m² to 0.01 m² (GeographicLib's AddEdge example)."""
    longitude, latitude = [0.0], [0.0]
    for azimuth in (90.0, 0.0, -90.0):
        reached = destinations(longitude[-1], latitude[-1], azimuth, 1000.0)
        longitude.append(float(reached[0]))
        latitude.append(float(reached[1]))
    measure = measure_polygon(shapely.Polygon(zip(longitude, latitude, strict=True)))
    assert measure.area_m2 == pytest.approx(1_000_000.0, abs=0.01)


def test_rules_of_thumb() -> None:
    """One degree of latitude is about 69 miles and one second 100 feet (NWCG Firefighter Math 6.10, read)."""
    degree_m, second_m = distances_m([-120.0, -120.0], [39.5, 40.0], [-120.0, -120.0], [40.5, 40.0 + 1 / 3600])
    assert degree_m / 1609.344 == pytest.approx(69.0, abs=0.05)
    assert second_m / 0.3048 == pytest.approx(100.0, abs=2.0)


def test_path_is_the_sum_of_its_steps() -> None:
    """The length of a path equals geographiclib's own perimeter of the open polyline around Antarctica."""
    from geographiclib.geodesic import Geodesic

    polyline = Geodesic.WGS84.Polygon(polyline=True)
    for latitude, longitude in ANTARCTICA:
        polyline.AddPoint(latitude, longitude)
    latitude, longitude = np.array(ANTARCTICA, np.float64).T
    assert path_length_m(longitude, latitude) == pytest.approx(polyline.Compute()[1], abs=1e-6)
    assert steps_m(longitude, latitude).sum() == pytest.approx(path_length_m(longitude, latitude), abs=1e-9)
