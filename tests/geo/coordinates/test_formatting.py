import math
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from exchange.errors import AmbiguityError, CoordinateError, OptionError
from exchange.geo.coordinates import (
    format_angles,
    format_columns,
    format_position,
    format_positions,
    nearest_grid_reference,
    parse_angle,
    parse_angle_column,
    parse_position,
    parse_position_column,
)
from exchange.geo.coordinates.position import Position, step_on_ground_m
from exchange.geo.geodesy import distances_m

LONGITUDES = st.floats(-180.0, 180.0)
LATITUDES = st.floats(-90.0, 90.0)
COVERED_LATITUDES = st.floats(-80.0, 84.0)
CELLS_M = (1, 10, 100, 1000, 10_000)


def _read_or_refuse(read: Callable[[], Position]) -> Position | str:
    try:
        return read()
    except (CoordinateError, AmbiguityError) as refusal:
        return str(refusal)


def _metres_apart(longitude: float, latitude: float, position: tuple[float, ...]) -> float:
    return float(distances_m(longitude, latitude, position[0], position[1]))


@given(LONGITUDES, LATITUDES, st.sampled_from(["DD", "DDM", "DMS"]), st.integers(0, 10), st.booleans())
@example(-120.99999, 40.9999999, "DMS", 0, True)
@example(179.99999999, -89.99999999, "DDM", 3, True)
@example(-0.0, -0.0, "DMS", 1, False)
@example(-1e-9, 1e-9, "DD", 6, True)
def test_angles_come_back_within_half_a_digit(
    longitude: float, latitude: float, form: str, decimals: int, with_marks: bool
) -> None:
    """Degrees in every form and precision, with and without marks, are read back to half of their last digit."""
    text = format_position(longitude, latitude, form, decimals=decimals, with_marks=with_marks)  # type: ignore[arg-type]
    position = parse_position(text)
    step = 10.0**-decimals / {"DD": 1, "DDM": 60, "DMS": 3600}[form]
    assert position.form == form or (form == "DD" and not with_marks)
    assert position.latitude == pytest.approx(latitude, abs=step * 0.5 + 1e-12)
    assert position.longitude == pytest.approx(longitude, abs=step * 0.5 + 1e-12)
    assert position.resolution_m == pytest.approx(step_on_ground_m(step, step, position.latitude), rel=1e-9)


@given(LONGITUDES, COVERED_LATITUDES, st.integers(0, 6))
@example(12.0, 0.0, 0)
@example(12.0, -1e-9, 0)
@example(180.0, 84.0, 2)
@example(-180.0, -80.0, 2)
@example(5.0, 60.0, 1)
def test_utm_comes_back_within_half_a_digit(longitude: float, latitude: float, decimals: int) -> None:
    """UTM with any number of decimals is read back to half of its last digit on both axes, and says North or South."""
    text = format_position(longitude, latitude, "UTM", decimals=decimals)
    if abs(latitude) > 1e-5:
        assert (" North " in text) is (latitude > 0.0)
    apart = _metres_apart(longitude, latitude, parse_position(text))
    assert apart <= math.sqrt(0.5) * 10.0**-decimals * 1.002 + 1e-6


@given(LONGITUDES, COVERED_LATITUDES, st.sampled_from(CELLS_M), st.sampled_from(["USNG", "MGRS"]))
@example(180.0, 84.0, 1, "USNG")
@example(-180.0, -80.0, 1, "MGRS")
@example(0.0, 0.0, 10_000, "USNG")
@example(6.0, 63.999999, 100, "MGRS")
def test_grid_reference_names_the_cell_around_the_place(
    longitude: float, latitude: float, cell_m: int, form: str
) -> None:
    """A grid reference of any precision is read as a cell whose centre is no further than half its diagonal."""
    text = format_position(longitude, latitude, form, precision_m=cell_m)  # type: ignore[arg-type]
    position = parse_position(text)
    assert position.form == form
    assert position.resolution_m == cell_m
    # Scale in UTM runs from 0.9996 to 1.001 within a zone.
    assert _metres_apart(longitude, latitude, position) <= cell_m * math.sqrt(0.5) * 1.002 + 0.01


@given(LONGITUDES, st.one_of(st.floats(-90.0, -80.001), st.floats(84.001, 90.0)), st.sampled_from(CELLS_M))
def test_polar_reference_names_the_cell_around_the_place(longitude: float, latitude: float, cell_m: int) -> None:
    """MGRS goes on to the poles and is read back there; USNG and UTM end and say so."""
    position = parse_position(format_position(longitude, latitude, "MGRS", precision_m=cell_m))
    assert _metres_apart(longitude, latitude, position) <= cell_m * math.sqrt(0.5) * 1.01 + 0.01
    assert nearest_grid_reference(longitude, latitude)[0] in "ABYZ"
    for form in ("USNG", "UTM"):
        with pytest.raises(CoordinateError, match="beyond 80° S or 84° N"):
            format_position(longitude, latitude, form)  # type: ignore[arg-type]


@given(LONGITUDES, COVERED_LATITUDES)
def test_coarser_reference_is_the_finer_one_cut_off(longitude: float, latitude: float) -> None:
    """Leaving digits out truncates (FGDC-STD-011-2001): the 10 m reference begins as the 1 m reference does."""
    fine = format_position(longitude, latitude, "USNG", precision_m=1).split()
    for cell_m, digits in ((10, 4), (100, 3), (1000, 2), (10_000, 1)):
        coarse = format_position(longitude, latitude, "USNG", precision_m=cell_m).split()
        assert coarse == [*fine[:2], fine[2][:digits], fine[3][:digits]]


@given(st.lists(st.tuples(LONGITUDES, COVERED_LATITUDES), max_size=8))
def test_columns_are_written_as_single_positions_are(positions: list[tuple[float, float]]) -> None:
    """A column, also an empty one, holds what its rows give one by one, in every form."""
    longitude = np.array([position[0] for position in positions])
    latitude = np.array([position[1] for position in positions])
    for form in ("DD", "DDM", "DMS", "UTM", "USNG", "MGRS"):
        column = format_positions(longitude, latitude, form)  # type: ignore[arg-type]
        assert column.tolist() == [format_position(*position, form) for position in positions]  # type: ignore[arg-type]


@given(st.lists(st.tuples(LONGITUDES, LATITUDES), min_size=1, max_size=8), st.sampled_from(["DD", "DDM", "DMS"]))
def test_axis_columns_come_back(positions: list[tuple[float, float]], form: str) -> None:
    """The two columns of angles are read back as longitudes and as latitudes."""
    columns = format_columns(*np.array(positions).T, form, decimals=7)  # type: ignore[arg-type]
    for texts, values, axis in zip(columns, np.array(positions).T, ("longitude", "latitude"), strict=True):
        read = parse_angle_column(texts, axis=axis)  # type: ignore[arg-type]
        assert read.refused.tolist() == []
        assert read.degrees == pytest.approx(values, abs=0.6e-7)


@given(st.floats(-180.0, 180.0), st.integers(0, 10))
def test_decimal_degrees_are_what_python_writes(longitude: float, decimals: int) -> None:
    """Signed decimals equal Python's own formatting to one step of the last digit, never with an exponent or -0."""
    text = str(format_angles([longitude], axis="longitude", form="DD", decimals=decimals)[0])
    assert float(text) == pytest.approx(float(f"{longitude:.{decimals}f}"), abs=1.01 * 10.0**-decimals)
    assert len(text.partition(".")[2]) == decimals
    assert "e" not in text
    assert not (text.startswith("-") and float(text) == 0.0)


def test_carry_reaches_the_degrees() -> None:
    """A second that rounds to 60 becomes a minute, and a minute a degree (Debian GeoConvert gives 41:00:00.0N)."""
    assert format_angles([40.9999999], axis="latitude", form="DMS").tolist() == ["N 41°00'00.0\""]
    assert format_angles([-120.99999], axis="longitude", form="DMS", decimals=0).tolist() == ["W 121°00'00\""]
    assert format_angles([59.99999999], axis="longitude", form="DDM").tolist() == ["E 060°00.000'"]
    assert format_angles([-9.9999999], axis="longitude", form="DD").tolist() == ["-10.000000"]
    assert format_angles([89.99999999, 179.99999999], axis="longitude", form="DD").tolist() == [
        "90.000000",
        "180.000000",
    ]


def test_zero_has_no_minus() -> None:
    """What rounds to zero is written without a minus, and as north and east."""
    assert format_angles([-0.0, -1e-9, 1e-9], axis="latitude", form="DD").tolist() == ["0.000000"] * 3
    assert format_angles([-0.0, -1e-9], axis="longitude", form="DDM").tolist() == ["E 000°00.000'"] * 2
    assert format_angles([-0.5], axis="latitude", form="DMS").tolist() == ["S 00°30'00.0\""]


def test_southern_utm_never_reads_as_a_band() -> None:
    """UTM names the hemisphere by a word, so that no zone letter S can be taken for band S or for the south."""
    assert format_position(151.215, -33.857, "UTM") == "56 South 0334873mE 6252266mN"
    assert format_position(-77.0365, 38.8977, "UTM") == "18 North 0323394mE 4307396mN"


def test_missing_position_is_an_empty_text() -> None:
    """A NaN on either axis leaves the row empty in every form; a single NaN position is refused."""
    for form in ("DD", "DDM", "DMS", "UTM", "USNG", "MGRS"):
        texts = format_positions([np.nan, 1.0, -120.5], [2.0, np.nan, 40.5], form)  # type: ignore[arg-type]
        assert texts.tolist()[:2] == ["", ""]
        assert texts[2]
        with pytest.raises(CoordinateError, match="is no position"):
            format_position(np.nan, 1.0, form)  # type: ignore[arg-type]


def test_position_off_the_earth_is_never_written() -> None:
    """Swapped axes, metres and infinities are refused with their count and first row."""
    with pytest.raises(CoordinateError, match=r"1 of 2 latitudes are not on the earth, first 120\.5 in row 2"):
        format_positions([0.0, 40.5], [0.0, 120.5], "DD")
    with pytest.raises(CoordinateError, match="1 of 1 longitudes are not on the earth"):
        format_angles([654321.0], axis="longitude", form="DMS")
    with pytest.raises(CoordinateError, match="not on the earth"):
        format_positions([np.inf], [0.0], "MGRS")


def test_options_out_of_range_are_refused() -> None:
    """A form, a number of decimals or a cell that does not exist is refused with what does."""
    with pytest.raises(OptionError, match="no form of coordinates"):
        format_position(0.0, 0.0, "GARS")  # type: ignore[arg-type]
    with pytest.raises(OptionError, match="11 decimals"):
        format_position(0.0, 0.0, "DD", decimals=11)
    with pytest.raises(OptionError, match="5 m is no cell of USNG"):
        format_position(0.0, 0.0, "USNG", precision_m=5)
    with pytest.raises(OptionError, match="100000 m is no cell of USNG"):
        format_position(0.0, 0.0, "USNG", precision_m=100_000)
    with pytest.raises(OptionError, match="no form of an angle"):
        format_angles([0.0], axis="longitude", form="UTM")  # type: ignore[arg-type]


def test_bare_square_is_mgrs_only() -> None:
    """The 100 km square alone is a lawful MGRS reference and no USNG reference (FGDC-STD-011-2001)."""
    assert format_position(-77.03524, 38.88947, "MGRS", precision_m=100_000) == "18SUJ"
    assert parse_position("18SUJ").resolution_m == 100_000.0


@given(st.lists(st.text(alphabet="0123456789.,-+ NSEWnsew°'\":;/dmsLatonUJK", max_size=28), max_size=12))
def test_column_and_single_text_agree_on_anything(texts: list[str]) -> None:
    """Whatever the text, the column gives what the single parser gives, be it a position or a reason."""
    column = parse_position_column(texts, order="lat-lon", hemispheres="NW")
    reasons = dict(zip(column.refused.tolist(), column.reasons, strict=True))
    for row, text in enumerate(texts):
        if not text.strip():
            assert row not in reasons
            continue
        said = _read_or_refuse(lambda text=text: parse_position(text, order="lat-lon", hemispheres="NW"))
        if isinstance(said, str):
            assert reasons[row] == said
        else:
            assert row not in reasons
            assert (column.longitude[row], column.latitude[row]) == pytest.approx(said[:2], abs=1e-12)


@given(st.lists(st.text(alphabet="0123456789.,-+ NSEWnsew°'\":dmse", max_size=16), max_size=12))
def test_angle_column_and_single_text_agree_on_anything(texts: list[str]) -> None:
    """Whatever the text, a column of longitudes gives what `parse_angle` gives, or refuses the row."""
    column = parse_angle_column(texts, axis="longitude", hemisphere="W")
    for row, text in enumerate(texts):
        if not text.strip():
            continue
        try:
            angle = parse_angle(text, axis="longitude")
        except CoordinateError:
            assert row in column.refused
            continue
        expected = angle.degrees if angle.is_stated else -angle.degrees
        assert column.degrees[row] == pytest.approx(expected, abs=1e-12)


@given(st.text(max_size=40))
@example("9999999999999999999999N 1W")
@example("\x00")
@example("40.2N\u2028120.7W")
@example("١٢, ٣٤")
def test_no_text_means_a_place_off_the_earth(text: str) -> None:
    """Any text at all is either a finite position on the earth or a refusal of the named kinds."""
    position = _read_or_refuse(lambda: parse_position(text, order="lat-lon", hemispheres="NW", zone_letter="band"))
    if isinstance(position, str):
        assert position
        return
    assert abs(position.longitude) <= 180.0
    assert abs(position.latitude) <= 90.0
    assert position.resolution_m > 0.0


@given(st.from_regex(r"\A[0-6]?[0-9][A-Z]?[ ]?[A-Z]{2}[0-9]{0,10}\Z"))
def test_no_letters_mean_a_place_off_their_zone(text: str) -> None:
    """Whatever looks like a grid reference is refused, or lies in its band and no further than 40 km off its zone."""
    try:
        position = parse_position(text)
    except ValueError:
        return
    assert position.form in ("USNG", "MGRS")
    if position.resolution_m == 1.0 and "A" < text.lstrip("0123456789")[0] < "Y":
        again = format_position(position.longitude, position.latitude, "MGRS").lstrip("0")
        zone, written_zone = (int("".join(c for c in t[:2] if c.isdigit())) for t in (again, text.lstrip("0")))
        assert min((zone - written_zone) % 60, (written_zone - zone) % 60) <= 2


def test_angle_column_without_hemisphere_is_refused() -> None:
    """Degrees and minutes without letter or sign do not say west or east: the row is refused until an option does."""
    texts = ["120 45.1", "120°45.1'W", "-120.75", "-120 45.1", "120.75"]
    column = parse_angle_column(texts, axis="longitude")
    assert column.refused.tolist() == [0]
    assert "does not say which hemisphere" in column.reasons[0]
    assert parse_angle_column(texts, axis="longitude", hemisphere="W").degrees.round(4).tolist() == [
        -120.7517,
        -120.7517,
        -120.75,
        -120.7517,
        120.75,
    ]


def test_angle_column_refuses_the_other_axis() -> None:
    """A latitude in a column of longitudes, or degrees beyond the axis, are refused; options are checked."""
    column = parse_angle_column(["40.2N", "180.5", "90"], axis="longitude")
    assert column.refused.tolist() == [0, 1]
    assert parse_angle_column(["120.5"], axis="latitude").refused.tolist() == [0]
    with pytest.raises(OptionError, match="no hemisphere of a longitude"):
        parse_angle_column(["1"], axis="longitude", hemisphere="N")
    with pytest.raises(OptionError, match="is no axis"):
        parse_angle_column(["1"], axis="height")  # type: ignore[arg-type]


@pytest.mark.parametrize("kind", ["list", "object", "unicode", "arrow", "chunked", "large"])
def test_column_may_come_in_any_container(kind: str) -> None:
    """Lists, numpy and Arrow columns of text are read alike, a missing row staying missing."""
    import pyarrow as pa

    texts = ["40.5", "", "-41.25"]
    containers = {
        "list": texts,
        "object": np.array(texts, dtype=object),
        "unicode": np.array(texts),
        "arrow": pa.array(["40.5", None, "-41.25"]),
        "chunked": pa.chunked_array([["40.5"], [None, "-41.25"]]),
        "large": pa.array(texts, pa.large_string()),
    }
    column = parse_angle_column(containers[kind], axis="latitude")
    np.testing.assert_array_equal(column.degrees, [40.5, np.nan, -41.25])
    assert column.refused.tolist() == []


def test_position_options_are_checked() -> None:
    """An option that does not exist is refused with those that do, for one text and for a column."""
    for options, reason in (
        ({"form": "GARS"}, "no form of coordinates"),
        ({"order": "xy"}, "no order of coordinates"),
        ({"hemispheres": "WN"}, "names no hemispheres"),
        ({"zone_letter": "zone"}, "no meaning of a zone's letter"),
    ):
        with pytest.raises(OptionError, match=reason):
            parse_position("40.2N 120.7W", **options)  # type: ignore[arg-type]
        with pytest.raises(OptionError, match=reason):
            parse_position_column([], **options)  # type: ignore[arg-type]


def test_height_in_the_text_is_kept() -> None:
    """ISO 6709 and WKT may carry a height in metres, which is handed on; elsewhere it is NaN."""
    assert parse_position("+40.20361-075.00417+1500CRSWGS_84/").height_m == 1500.0
    assert parse_position("POINT Z (-120.7517 40.20361 0)").height_m == 0.0
    assert math.isnan(parse_position("40.2N 120.7W").height_m)
