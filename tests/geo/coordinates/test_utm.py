from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from exchange.geo.coordinates import parse_position
from exchange.geo.coordinates.utm import (
    BANDS,
    band_limits,
    from_lettered_utm,
    from_utm,
    is_in_band,
    standard_zone,
    to_utm,
)


@pytest.mark.parametrize(
    ("longitude", "latitude", "zone"),
    [
        (-180.0, 0.0, 1),
        (180.0, 0.0, 1),
        (-174.000001, 0.0, 1),
        (-174.0, 0.0, 2),
        (-120.0, 40.0, 11),
        (-120.000001, 40.0, 10),
        (179.999999, 0.0, 60),
        # Norway: 32V is widened to the west.
        (2.999999, 60.0, 31),
        (3.0, 60.0, 32),
        (3.0, 55.999999, 31),
        (3.0, 64.0, 31),
        # Svalbard: zones 31, 33, 35 and 37 only.
        (8.999999, 75.0, 31),
        (9.0, 75.0, 33),
        (20.999999, 75.0, 33),
        (21.0, 75.0, 35),
        (33.0, 75.0, 37),
        (41.999999, 75.0, 37),
        (42.0, 75.0, 38),
        (7.0, 71.999999, 32),
        (10.0, 84.0, 33),
        # Beyond UTM, off the earth, missing.
        (10.0, 84.000001, 0),
        (10.0, -80.000001, 0),
        (180.5, 0.0, 0),
        (np.nan, 0.0, 0),
        (0.0, np.nan, 0),
    ],
)
def test_zone_of_a_place(longitude: float, latitude: float, zone: int) -> None:
    """Zones, their edges and the exceptions for Norway and Svalbard (NGA.STND.0037, second-hand)."""
    assert int(standard_zone(longitude, latitude)) == zone


@given(st.floats(-180.0, 180.0), st.floats(-80.0, 84.0))
def test_utm_comes_back(longitude: float, latitude: float) -> None:
    """Degrees to UTM and back is the same to a nanodegree, in a zone between 1 and 60."""
    utm = to_utm(longitude, latitude)
    assert 1 <= int(utm.zone) <= 60
    again = from_utm(utm.zone, utm.is_north, utm.easting_m, utm.northing_m)
    turned = (float(again[0]) - longitude + 180.0) % 360.0 - 180.0
    assert turned == pytest.approx(0.0, abs=1e-9)
    assert float(again[1]) == pytest.approx(latitude, abs=1e-9)


def test_what_is_not_utm_is_missing() -> None:
    """Zones, eastings and northings that do not exist come back as NaN, beside those that do."""
    zone = [10, 0, 61, 10, 10, 10, 10, 10]
    easting = [500_000.0, 5e5, 5e5, 99_999.0, 900_001.0, 5e5, 5e5, np.nan]
    northing = [4_400_000.0, 4.4e6, 4.4e6, 4.4e6, 4.4e6, -1.0, 10_000_001.0, 4.4e6]
    longitude, latitude = from_utm(zone, True, easting, northing)
    assert np.isfinite(longitude).tolist() == np.isfinite(latitude).tolist() == [True, *[False] * 7]
    utm = to_utm([np.nan, 0.0], [0.0, 89.0])
    assert utm.zone.tolist() == [0, 0]
    assert np.isnan(utm.easting_m).all()


def test_northern_reach_is_not_southern() -> None:
    """Northing 9,500,000 is near the equator in the south, and beyond the end of UTM in the north."""
    assert float(from_utm(10, False, 500_000.0, 9_500_000.0)[1]) == pytest.approx(-4.52, abs=0.01)
    assert np.isnan(from_utm(10, True, 500_000.0, 9_500_000.0)[1])


def test_bands_follow_one_another() -> None:
    """Twenty bands cover 80 south to 84 north without a gap, X being 12 degrees high."""
    limits = [band_limits(band) for band in BANDS]
    assert limits[0][0] == -80.0
    assert limits[-1] == (72.0, 84.0)
    assert all(before[1] == after[0] for before, after in pairwise(limits))
    for index, (south, north) in enumerate(limits):
        assert is_in_band([south, north, south - 0.1, north + 0.1], index, 0.0).tolist() == [True, True, False, False]


def test_least_northings_are_those_of_the_bands() -> None:
    """The table that resolves row letters is each band's lowest point in whole squares, as PROJ computes it."""
    from exchange.geo.coordinates.grid_cells import _LEAST_NORTHING_KM

    edges = np.array([band_limits(band)[0] for band in BANDS])
    by_place = [to_utm(np.full(len(edges), longitude), edges).northing_m for longitude in (-9.0, -6.0 - 1e-9)]
    assert np.floor(np.min(by_place, axis=0) / 100_000.0 + 1e-9) * 100.0 == pytest.approx(_LEAST_NORTHING_KM)


def test_letter_s_is_never_guessed() -> None:
    """Behind a zone S is missing where band and south are both possible, and read where one is, or is told."""
    zone, letter = [10, 10, 56, 10], ["S", "N", "S", "T"]
    easting, northing = 500_000.0, np.array([4_000_000.0, 4_000_000.0, 6_252_266.0, 4_500_000.0])
    _, latitude = from_lettered_utm(zone, letter, easting, northing)
    np.testing.assert_allclose(latitude, [np.nan, 36.14, -33.87, 40.65], atol=0.01)
    _, latitude = from_lettered_utm(zone, letter, easting, northing, zone_letter="band")
    np.testing.assert_allclose(latitude, [36.14, 36.14, np.nan, 40.65], atol=0.01)
    _, latitude = from_lettered_utm(zone, letter, easting, northing, zone_letter="hemisphere")
    np.testing.assert_allclose(latitude, [-54.15, 36.14, -33.87, np.nan], atol=0.01)


@given(
    st.integers(0, 61),
    st.sampled_from([*BANDS, "North", "South", "N", "S", "I"]),
    st.integers(90_000, 910_000),
    st.integers(0, 10_010_000),
    st.sampled_from([None, "band", "hemisphere"]),
)
def test_columns_of_letters_are_read_as_texts_are(
    zone: int, letter: str, easting: int, northing: int, zone_letter: str | None
) -> None:
    """Zone, letter, easting and northing in columns mean what the same in one text means, or are missing there."""
    longitude, latitude = from_lettered_utm([zone], [letter.upper()], easting, northing, zone_letter=zone_letter)
    try:
        position = parse_position(f"{zone} {letter} {easting} {northing}", zone_letter=zone_letter)
    except ValueError:
        assert np.isnan(longitude[0])
        assert np.isnan(latitude[0])
        return
    assert (longitude[0], latitude[0]) == pytest.approx(position[:2], abs=1e-12)
