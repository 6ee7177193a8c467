"""Coordinate text, UTM and grid references against published values.

The words 'read', 'second-hand' and 'recomputed' mean what they mean in the tests of geodesic lines: whether the
source itself was seen, and whether an independent library agrees.
"""

import re

import numpy as np
import pytest

from exchange.errors import CoordinateError
from exchange.geo.coordinates import (
    format_angles,
    format_position,
    nearest_grid_reference,
    parse_angle,
    parse_position,
    parse_position_column,
)
from exchange.geo.coordinates.grid import match_grid
from exchange.geo.coordinates.utm import from_utm, standard_zone, to_utm
from exchange.geo.geodesy import distances_m, measure_polygon
from tests.reference.packages import package_files

# latitude, longitude, zone, easting, northing, MGRS: test/utm-mgrs-tests.js of chrisveness/geodesy; the `mgrs`
# library and PROJ agree. Read, recomputed. Where no UTM is published only the grid reference is checked.
UTM_VECTORS = [
    (48.8583, 2.2945, 31, 448251.898, 5411943.794, "31UDQ4825111943"),
    (-33.857, 151.215, 56, 334873.199, 6252266.092, "56HLH3487352266"),
    (38.8977, -77.0365, 18, 323394.296, 4307395.634, "18SUJ2339407395"),
    (-22.9519, -43.2106, 23, None, None, "23KPQ8346660687"),
    (60.39135, 5.3249, 32, None, None, "32VKN9750800645"),
    (0.0, 0.0, 31, None, None, "31NAA6602100000"),
    (-1.0, -1.0, 30, None, None, "30MYD2256189402"),
]


@pytest.mark.parametrize(("latitude", "longitude", "zone", "easting", "northing", "reference"), UTM_VECTORS)
def test_utm_and_mgrs_vectors(
    latitude: float, longitude: float, zone: int, easting: float | None, northing: float | None, reference: str
) -> None:
    """Zone, easting and northing to a millimetre, and the grid reference to its last digit, both ways."""
    utm = to_utm(longitude, latitude)
    assert int(utm.zone) == zone
    if easting is not None:
        assert (float(utm.easting_m), float(utm.northing_m)) == pytest.approx((easting, northing), abs=1e-3)
        assert from_utm(zone, latitude >= 0.0, easting, northing) == pytest.approx((longitude, latitude), abs=1e-8)
    assert format_position(longitude, latitude, "MGRS") == reference
    assert nearest_grid_reference(longitude, latitude).replace(" ", "") == reference
    position = parse_position(reference)
    assert float(distances_m(longitude, latitude, position.longitude, position.latitude)) < 0.71


def test_flinders_peak_and_buninyong() -> None:
    """UTM of the two stations of the GDA technical manual, to 1 mm (second-hand, recomputed; second easting .051)."""
    longitude = [parse_angle("144°25\u203229.52440\u2033E").degrees, parse_angle("143°55\u203235.38390\u2033E").degrees]
    latitude = [parse_angle("37°57\u203203.72030\u2033S").degrees, parse_angle("37°39\u203210.15610\u2033S").degrees]
    # Buninyong lies in zone 54; the manual gives it in 55 as Flinders Peak.
    back = from_utm([55, 55], [False, False], [273741.297, 228854.052], [5796489.777, 5828259.038])
    assert distances_m(*back, longitude, latitude) == pytest.approx([0.0, 0.0], abs=2e-3)
    assert standard_zone(longitude, latitude).tolist() == [55, 54]


def test_transverse_mercator_test_set() -> None:
    """C. F. F. Karney's TMcoords.dat (Zenodo 32470), all rows that a UTM zone can hold, to a micrometre or 1e-11°.

    As the source distribution of PyGeodesy carries its first 258 rows; read. The file is parsed, not imported.
    """
    text = (package_files("pygeodesy", "26.10.26") / "test" / "testTMcoords.py").read_text("utf-8")
    rows = np.array([row.split() for row in re.findall(r"^(?:-?[0-9.e-]+ ){5}-?[0-9.e-]+$", text, re.M)], np.float64)
    assert len(rows) == 258
    latitude, longitude, easting, northing = rows[:, :4].T
    fits = (np.abs(easting) <= 400_000.0) & (latitude <= 84.0)
    assert fits.sum() == 13
    found = from_utm(31, True, easting[fits] + 500_000.0, northing[fits])
    assert found[0] == pytest.approx(longitude[fits] + 3.0, abs=1e-11)
    assert found[1] == pytest.approx(latitude[fits], abs=1e-11)
    in_zone = (longitude <= 3.0) & (latitude < 56.0)
    assert in_zone.sum() >= 5
    utm = to_utm(longitude[in_zone] + 3.0 - 1e-15, latitude[in_zone])
    assert utm.easting_m == pytest.approx(easting[in_zone] + 500_000.0, abs=1e-6)
    assert utm.northing_m == pytest.approx(northing[in_zone], abs=1e-6)


def test_snyder_transverse_mercator() -> None:
    """The projection that UTM rests on gives Snyder's worked example (USGS PP 1395, pp. 269-270) to his 0.1 m.

    Clarke 1866, central meridian 75° W: x 127106.5, y 4484124.4. Second-hand, recomputed.
    """
    from pyproj import Proj

    snyder = Proj(proj="tmerc", ellps="clrk66", lon_0=-75, k=0.9996)
    assert snyder(-73.5, 40.5) == pytest.approx((127106.5, 4484124.4), abs=0.06)


def test_geoconvert_examples() -> None:
    """The examples of the manual page GeoConvert(1), read and run again with the Debian tool."""
    # Centre of the cell 38SMB4488, printed in degrees, and in degrees, minutes and seconds.
    centre = parse_position("38SMB4488")
    assert (centre.latitude, centre.longitude) == pytest.approx((33.33424, 44.40363), abs=0.5e-5)
    assert format_position(*centre[:2], "DMS", decimals=2) == "N 33°20'03.25\" E 044°24'13.06\""
    assert format_position(*centre[:2], "UTM") == "38 North 0444500mE 3688500mN"
    there = parse_position("N33d20 E44d24")
    assert format_position(*there[:2], "MGRS", precision_m=1000) == "38SMB4488"
    # Option ZONE: a place is written in the standard zone, and read in the neighbour's as well.
    assert format_position(6.1, -79.9, "MGRS") == "32CMS4324728161"
    neighbour = parse_position("31CEM6066227959")
    assert float(distances_m(6.1, -79.9, *neighbour[:2])) < 0.71
    # 40.9999999 is 41:00:00.0N, never 40:59:60; -120.99999 to a second is 121:00:00W. Computed by the tool.
    assert format_angles([40.9999999], axis="latitude", form="DMS").tolist() == ["N 41°00'00.0\""]
    assert format_angles([-120.99999], axis="longitude", form="DMS", decimals=0).tolist() == ["W 121°00'00\""]


def test_planimeter_square() -> None:
    """The square 18SWK holds 10007388597.2 m² on the ellipsoid, not 1e10 (Planimeter(1), EXAMPLES; recomputed).

    The corners are those of the example, in metres.
    """
    import shapely

    eastings, northings = (
        [500_000.0, 600_000.0, 600_000.0, 500_000.0],
        [4_400_000.0, 4_400_000.0, 4_500_000.0, 4_500_000.0],
    )
    longitude, latitude = from_utm(18, True, eastings, northings)
    measure = measure_polygon(shapely.Polygon(zip(longitude, latitude, strict=True)))
    assert measure.area_m2 == pytest.approx(10007388597.2, abs=0.1)
    assert measure.length_m == pytest.approx(400139.532959, abs=1e-5)
    column = parse_position_column(["18SWK0000000000", "18SWK9999900000", "18TWK9999999999", "18TWK0000099999"])
    apart = distances_m(column.longitude, column.latitude, longitude, latitude)
    assert apart == pytest.approx([0.7071] * 4, abs=2e-3)
    # Its northern edge lies in band T, and so must be written.
    with pytest.raises(CoordinateError, match="does not lie in 18S"):
        parse_position("18SWK9999999999")


def test_washington_monument() -> None:
    """FGDC-STD-011-2001, Table 1 and Annex B: digits are cut off, never rounded (second-hand, recomputed)."""
    longitude, latitude = -77.03524022, 38.88946731
    for cell_m, reference in (
        (1, "18S UJ 23483 06479"),
        (10, "18S UJ 2348 0647"),
        (100, "18S UJ 234 064"),
        (1000, "18S UJ 23 06"),
    ):
        assert format_position(longitude, latitude, "USNG", precision_m=cell_m) == reference
        assert parse_position(reference).resolution_m == cell_m
    assert format_position(longitude, latitude, "UTM", decimals=3).startswith("18 North 0323483.1")


def test_mgrs_forms_of_the_standard() -> None:
    """The spellings in NGA.STND.0037 and DMA TM 8358.1 are read, spaced or not (second-hand)."""
    one, other = parse_position("4QFJ1234567890"), parse_position("4Q FJ 12345 67890")
    assert one[:2] == other[:2]
    assert format_position(*one[:2], "MGRS") == "4QFJ1234567890"


@pytest.mark.parametrize(("text", "cell_m"), [("18SUU80", 1e4), ("18SUU8401", 1e3), ("18SUU836014", 1e2)])
def test_old_lettering_is_refused(text: str, cell_m: float) -> None:
    """On WGS 84 the square UU is nowhere in 18S; the library answers 950 km off with a warning, here it is refused.

    They are DMA TM 8358.1's examples for the number of digits (second-hand). That their row letter is ten further on,
    as older ellipsoids have it, is from memory; with it they lie in band S as they should.
    """
    said = match_grid(text)
    assert said is not None
    assert said.size_m == cell_m
    with pytest.raises(CoordinateError, match="UU, which does not lie in 18S"):
        parse_position(text)
    assert 32.0 <= parse_position(text.replace("UU", "UJ")).latitude <= 40.0


def test_three_forms_of_one_place() -> None:
    """One place as DD, DDM and DMS, of BLM National Aviation Plan, Appendix 4 (read, recomputed)."""
    longitude, latitude = -147.60437, 64.84052
    texts = [
        "N 64.84052 W 147.60437",
        "N 64°50.431\u2032 W 147°36.262\u2032",
        "N 64°50\u203225.9\u2033 W 147°36\u203215.7\u2033",
    ]
    for text, form, decimals in zip(texts, ("DD", "DDM", "DMS"), (5, 3, 1), strict=True):
        assert parse_position(text)[:2] == pytest.approx((longitude, latitude), abs=1.6e-5)
        written = format_position(longitude, latitude, form, decimals=decimals)  # type: ignore[arg-type]
        assert written.replace("'", "\u2032").replace('"', "\u2033").replace("°", "" if form == "DD" else "°") == text


def test_icao_form() -> None:
    """ICAO Doc 8126 §5.5.2 (quoted): latitude first, two and three digits of degrees, no symbols."""
    position = parse_position("050735N 0652542W")
    assert position[:2] == pytest.approx((-(65 + 25 / 60 + 42 / 3600), 5 + 7 / 60 + 35 / 3600), abs=1e-12)
    assert position.form == "DMS"


def test_angles_of_firefighter_math() -> None:
    """320°25'32" less 210°50'41" is 109°34'51" (NWCG Firefighter Math 6.10, example 1), here on the half circle."""
    first, second = parse_angle("140°25'32\"E").degrees, parse_angle("30°50'41\"E").degrees
    assert format_angles([first - second], axis="longitude", form="DMS", decimals=0).tolist() == ["E 109°34'51\""]


def test_one_step_on_the_ground() -> None:
    """One step of the last digit in metres at 40° N, computed from WGS 84."""
    assert parse_position("40.00000N 120.00000W").resolution_m == pytest.approx(1.11, abs=0.005)
    assert parse_position("40 00.000N 120 00.000W").resolution_m == pytest.approx(1.85, abs=0.005)
    assert parse_position("40 00 00.0N 120 00 00.0W").resolution_m == pytest.approx(3.08, abs=0.005)


def test_library_that_writes_references_agrees_with_the_fence() -> None:
    """Every reference `mgrs` writes, in any zone and precision, is read as the centre `mgrs` itself reads."""
    import mgrs

    random = np.random.default_rng(20260714)
    latitude = np.degrees(np.arcsin(random.uniform(-0.98, 0.99, 4000)))
    longitude = random.uniform(-180.0, 180.0, 4000)
    library = mgrs.MGRS()
    for precision in range(1, 6):
        written = library.toMGRSArray(np.column_stack([latitude, longitude]).ravel(), MGRSPrecision=precision)
        texts = np.frombuffer(written, "S15").astype("U15")
        column = parse_position_column(texts)
        assert column.refused.tolist() == []
        theirs = np.frombuffer(library.toLatLonArray(written)).reshape(-1, 2)
        assert column.latitude == pytest.approx(theirs[:, 0], abs=1e-9)
        apart = (column.longitude - theirs[:, 1] + 180.0) % 360.0 - 180.0
        assert apart * np.cos(np.radians(latitude)) == pytest.approx(np.zeros(4000), abs=1e-9)


@pytest.mark.parametrize("nonsense", ["18SUJ 2339 407395", "31XAA", "1CAA0000"])
def test_nonsense_that_the_library_reads_is_refused(nonsense: str) -> None:
    """The fence refuses what `mgrs` answers with coordinates: an odd split of digits, squares far off their zone."""
    import warnings

    import mgrs

    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)
        assert all(np.isfinite(mgrs.MGRS().toLatLon(nonsense)))
    with pytest.raises(ValueError, match=r"digits of easting|far outside zone|does not lie in"):
        parse_position(nonsense)
