"""The fire's own geodesy against PROJ, the mgrs library and published values."""

from __future__ import annotations

import mgrs
import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from pyproj import Geod, Transformer

from exchange.demo_fire.grid import usng, utm, utm_zones
from exchange.demo_fire.scene import FRAME

longitudes = st.floats(-179.999, 179.999)
latitudes = st.floats(0.001, 71.9)


@given(longitudes, latitudes)
def test_utm_agrees_with_proj(longitude: float, latitude: float) -> None:
    """Within a zone, metres and degrees agree with PROJ to a tenth of a millimetre."""
    zone = int(utm_zones(longitude))
    easting, northing = utm(zone).to_metres(longitude, latitude)
    proj = Transformer.from_crs("EPSG:4326", f"EPSG:{32600 + zone}", always_xy=True)
    assert (float(easting), float(northing)) == pytest.approx(proj.transform(longitude, latitude), abs=1e-4)
    back = utm(zone).to_degrees(easting, northing)
    assert (float(back[0]), float(back[1])) == pytest.approx((longitude, latitude), abs=1e-9)


def test_utm_gives_the_published_value() -> None:
    """GeoConvert(1), EXAMPLES: 38N 444500 3688500 is 33.33424 44.40363."""
    longitude, latitude = utm(38).to_degrees(444_500.0, 3_688_500.0)
    assert (float(longitude), float(latitude)) == pytest.approx((44.40363, 33.33424), abs=6e-6)


def test_usng_gives_the_published_value() -> None:
    """FGDC-STD-011-2001, 5.2.2: the Washington Monument is 18S UJ 23483 06479, cut and not rounded."""
    assert usng(-77.03524022, 38.88946731) == "18S UJ 23483 06479"


@given(st.floats(-0.6, 0.6), st.floats(-0.6, 0.6))
def test_usng_agrees_with_the_mgrs_library(east_degrees: float, north_degrees: float) -> None:
    """Around the fire, on both sides of the zone border, the letters and metres are those of the mgrs library."""
    # The library takes a place less than a millimetre west of the border as on it; see the next test.
    assume(not -1e-8 < east_degrees < 0.0)
    longitude, latitude = -114.0 + east_degrees, 44.5 + north_degrees
    expected = mgrs.MGRS().toMGRS(latitude, longitude)
    text = usng(longitude, latitude).replace(" ", "")
    assert text[:5] == expected[:5]
    # A place within a nanometre of a metre's border may be cut to either side.
    for start in (5, 10):
        assert abs(int(text[start : start + 5]) - int(expected[start : start + 5])) <= 1


@pytest.mark.parametrize("east_degrees", [-1.7634825074644656e-14, -1e-12, -1e-9])
def test_a_place_just_west_of_the_zone_border_is_west_of_it(east_degrees: float) -> None:
    """However near the border, the zone is that of the place (UTM zones begin at their western meridian)."""
    assert usng(-114.0 + east_degrees, 44.5).startswith("11T QK")
    assert usng(-114.0, 44.5).startswith("12T TQ")


def test_the_frame_of_the_fire_is_true_to_scale() -> None:
    """A kilometre of the frame is a kilometre on the ellipsoid to a millimetre (the scale grows as x²/2R²)."""
    longitude, latitude = FRAME.to_degrees(np.array([0.0, 1000.0, 0.0]), np.array([0.0, 0.0, 1000.0]))
    geod = Geod(ellps="WGS84")
    for end in (1, 2):
        _, _, distance = geod.inv(longitude[0], latitude[0], longitude[end], latitude[end])
        assert distance == pytest.approx(1000.0, abs=1e-3)
