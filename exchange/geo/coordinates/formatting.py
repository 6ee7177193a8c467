"""Write positions as text, one or a column of them.

Every angle is first rounded to a whole number of its last digit and only then taken apart, so that a carry goes
through to the degrees: 40.9999999 is 41°00'00.0", never 40°59'60.0". Grid references are cut off, never rounded
(FGDC-STD-011-2001: the digits name the cell's south-western corner).
"""

from __future__ import annotations

from typing import Final, Literal, get_args

import numpy as np
from numpy.typing import ArrayLike, NDArray

from exchange.errors import CoordinateError, OptionError
from exchange.geo.coordinates.degrees import LIMIT_DEGREES, AngleForm, Axis
from exchange.geo.coordinates.grid import GridForm
from exchange.geo.coordinates.text_matrix import Codes, assemble, digits, fill, letters

Texts = NDArray[np.str_]
Floats = NDArray[np.float64]
OutputForm = Literal["DD", "DDM", "DMS", "UTM", "USNG", "MGRS"]
OUTPUT_FORMS: Final[tuple[OutputForm, ...]] = get_args(OutputForm)

# About 0.1 m, 2 m, 3 m and 1 m on the ground: as much as a handset shows. Any field may ask for more.
DEFAULT_DECIMALS: Final[dict[str, int]] = {"DD": 6, "DDM": 3, "DMS": 1, "UTM": 0}
MOST_DECIMALS: Final = 10
_GRID_PRECISION: Final = {100_000: 0, 10_000: 1, 1_000: 2, 100: 3, 10: 4, 1: 5}
_MGRS_WIDTH: Final = 15


def format_position(
    longitude: float,
    latitude: float,
    form: OutputForm,
    *,
    decimals: int | None = None,
    precision_m: int = 1,
    with_marks: bool = True,
) -> str:
    """Write one position.

    Parameters
    ----------
    longitude, latitude
        Degrees.
    form
        ``'DD'``, ``'DDM'``, ``'DMS'``, ``'UTM'``, ``'USNG'`` or ``'MGRS'``.
    decimals
        Digits behind the point of the last number of DD (6), DDM (3), DMS (1) and UTM (0), at most 10.
    precision_m
        Width of the cell for USNG and MGRS: 1, 10, 100, 1000 or 10000 metres; MGRS also 100000.
    with_marks
        Write degree, minute and second marks; otherwise spaces, for devices that lack the marks.

    Raises
    ------
    CoordinateError
        If the position is not finite, not on the earth, or not covered by UTM or USNG.
    OptionError
        If form, decimals or precision are none of those above.

    Examples
    --------
    >>> format_position(-120.7516667, 40.2036167, "DDM")
    "N 40°12.217' W 120°45.100'"
    >>> format_position(-77.03524022, 38.88946731, "USNG", precision_m=10)
    '18S UJ 2348 0647'
    """
    if not (np.isfinite(longitude) and np.isfinite(latitude)):
        raise CoordinateError(f"({longitude}, {latitude}) is no position", remedy="Give finite degrees.")
    texts = format_positions(
        [longitude], [latitude], form, decimals=decimals, precision_m=precision_m, with_marks=with_marks
    )
    return str(texts[0])


def format_positions(
    longitude: ArrayLike,
    latitude: ArrayLike,
    form: OutputForm,
    *,
    decimals: int | None = None,
    precision_m: int = 1,
    with_marks: bool = True,
) -> Texts:
    """Write a column of positions, one text each; the parameters are those of `format_position`.

    A position with a NaN gives the empty text.

    Raises
    ------
    CoordinateError
        If a position is not on the earth, or not covered by UTM or USNG; the message counts them.
    OptionError
        If form, decimals or precision are not allowed.
    """
    lon, lat = _on_earth(longitude, latitude)
    _require_form(form)
    if form in ("USNG", "MGRS"):
        return _format_grid(lon, lat, form, precision_m)
    places = _read_decimals(form, decimals)
    if form == "UTM":
        return _format_utm(lon, lat, places)
    is_known = np.isfinite(lon) & np.isfinite(lat)
    north = _format_lettered(lat[is_known], "latitude", form, places, with_marks)
    east = _format_lettered(lon[is_known], "longitude", form, places, with_marks)
    joined = assemble(int(is_known.sum()), _codes(north), " ", _codes(east))
    return fill(np.full(lon.shape, "", joined.dtype), is_known, joined)


def format_columns(
    longitude: ArrayLike,
    latitude: ArrayLike,
    form: OutputForm,
    *,
    decimals: int | None = None,
    precision_m: int = 1,
    with_marks: bool = True,
) -> tuple[Texts, ...]:
    """Write positions as the columns a table has for them.

    DD, DDM and DMS give two columns, longitudes and latitudes, as `format_angles` writes them; UTM, USNG and MGRS
    give one. The parameters are those of `format_position`.

    Raises
    ------
    CoordinateError
        If a position is not on the earth, or not covered by UTM or USNG; the message counts them.
    OptionError
        If form, decimals or precision are not allowed.
    """
    _require_form(form)
    if form == "UTM" or form == "USNG" or form == "MGRS":
        return (format_positions(longitude, latitude, form, decimals=decimals, precision_m=precision_m),)
    return (
        format_angles(longitude, axis="longitude", form=form, decimals=decimals, with_marks=with_marks),
        format_angles(latitude, axis="latitude", form=form, decimals=decimals, with_marks=with_marks),
    )


def format_angles(
    degrees: ArrayLike, *, axis: Axis, form: AngleForm, decimals: int | None = None, with_marks: bool = True
) -> Texts:
    r"""Write a column of longitudes or latitudes; NaN gives the empty text.

    DD are signed plain numbers as every program reads them; DDM and DMS carry their hemisphere letter in front.

    Raises
    ------
    CoordinateError
        If a value is not on the earth; the message counts them.
    OptionError
        If form or decimals are not allowed.

    Examples
    --------
    >>> format_angles([40.9999999, -0.0], axis="latitude", form="DMS").tolist()
    ['N 41°00\'00.0"', 'N 00°00\'00.0"']
    >>> format_angles([-120.5], axis="longitude", form="DD", decimals=2).tolist()
    ['-120.50']
    """
    if form not in ("DD", "DDM", "DMS"):
        raise OptionError(f"{form!r} is no form of an angle", remedy="Use DD, DDM or DMS.")
    values = np.asarray(degrees, np.float64)
    _require_on_earth(values, axis)
    places = _read_decimals(form, decimals)
    is_known = np.isfinite(values)
    if form == "DD":
        texts = _format_signed(values[is_known], places)
    else:
        texts = _format_lettered(values[is_known], axis, form, places, with_marks)
    return fill(np.full(values.shape, "", texts.dtype), is_known, texts)


def nearest_grid_reference(longitude: float, latitude: float, *, precision_m: int = 1) -> str:
    """Return the grid reference of a position, spaced as USNG is written; near the poles that of MGRS.

    It needs neither PROJ nor shapely, so that a short command can afford it.

    Raises
    ------
    CoordinateError
        If the position is not finite or not on the earth.
    OptionError
        If `precision_m` is none of 1, 10, 100, 1000, 10000 and 100000.

    Examples
    --------
    >>> nearest_grid_reference(-77.03524022, 38.88946731, precision_m=100)
    '18S UJ 234 064'
    """
    if not (np.isfinite(longitude) and np.isfinite(latitude)):
        raise CoordinateError(f"({longitude}, {latitude}) is no position", remedy="Give finite degrees.")
    lon, lat = _on_earth([longitude], [latitude])
    return str(_write_grid(lon, lat, _read_precision("MGRS", precision_m), " ")[0])


def _on_earth(longitude: ArrayLike, latitude: ArrayLike) -> tuple[Floats, Floats]:
    lon, lat = np.broadcast_arrays(np.atleast_1d(np.asarray(longitude, np.float64)), np.asarray(latitude, np.float64))
    _require_on_earth(lon, "longitude")
    _require_on_earth(lat, "latitude")
    return lon, lat


def _require_on_earth(values: Floats, axis: Axis) -> None:
    limit = LIMIT_DEGREES[axis]
    is_wrong = np.abs(values) > limit
    if is_wrong.any():
        first = int(is_wrong.argmax())
        raise CoordinateError(
            f"{int(is_wrong.sum())} of {values.size} {axis}s are not on the earth, first {values.flat[first]:g} "
            f"in row {first + 1}",
            remedy=f"A {axis} lies between -{limit:g} and {limit:g}.",
        )


def _require_form(form: str) -> None:
    if form not in OUTPUT_FORMS:
        raise OptionError(f"{form!r} is no form of coordinates", remedy=f"Use one of: {', '.join(OUTPUT_FORMS)}.")


def _read_decimals(form: str, decimals: int | None) -> int:
    places = DEFAULT_DECIMALS[form] if decimals is None else decimals
    if not 0 <= places <= MOST_DECIMALS:
        raise OptionError(f"{places} decimals are not possible", remedy=f"Use 0 to {MOST_DECIMALS}.")
    return places


def _read_precision(form: GridForm, precision_m: int) -> int:
    allowed = [size for size in _GRID_PRECISION if form == "MGRS" or size < 100_000]
    if precision_m not in allowed:
        raise OptionError(
            f"{precision_m} m is no cell of {form}", remedy=f"Use one of: {', '.join(str(s) for s in allowed)}."
        )
    return _GRID_PRECISION[precision_m]


def _count_steps(degrees: Floats, steps_per_degree: int) -> NDArray[np.int64]:
    return np.asarray(np.rint(np.abs(degrees) * steps_per_degree), np.int64)


def _format_signed(degrees: Floats, places: int) -> Texts:
    steps = _count_steps(degrees, 10**places)
    whole, fraction = np.divmod(steps, 10**places)
    tail: tuple[str | Codes, ...] = (".", digits(fraction, places)) if places else ()
    is_negative = (degrees < 0.0) & (steps > 0)
    texts = np.full(degrees.shape, "", f"U{5 + places}")
    for sign, has_sign in (("-", is_negative), ("", ~is_negative)):
        for width, is_wide in ((1, whole < 10), (2, (whole >= 10) & (whole < 100)), (3, whole >= 100)):
            rows = has_sign & is_wide
            parts = [part if isinstance(part, str) else part[rows] for part in tail]
            texts[rows] = assemble(int(rows.sum()), sign, digits(whole[rows], width), *parts)
    return texts


def _format_lettered(degrees: Floats, axis: Axis, form: str, places: int, with_marks: bool) -> Texts:
    per_minute = {"DD": 0, "DDM": 1, "DMS": 60}[form]
    steps = _count_steps(degrees, 10**places * (60 * per_minute or 1))
    is_negative = (degrees < 0.0) & (steps > 0)
    last, fraction = np.divmod(steps, 10**places)
    numbers: list[NDArray[np.int64]] = []
    for _ in range({"DD": 0, "DDM": 1, "DMS": 2}[form]):
        last, number = np.divmod(last, 60)
        numbers.insert(0, number)
    width = 2 if axis == "latitude" else 3
    parts: list[str | Codes] = [letters(is_negative, *("SN" if axis == "latitude" else "WE")), " ", digits(last, width)]
    marks = "\u00b0'\"" if with_marks else "   "
    for mark, number in zip(marks, numbers, strict=False):
        parts += [mark, digits(number, 2)]
    parts += [".", digits(fraction, places)] if places else []
    parts += [marks[len(numbers)]] if with_marks else []
    return assemble(len(degrees), *parts)


def _codes(texts: Texts) -> Codes:
    return np.ascontiguousarray(texts).view(np.uint32).reshape(len(texts), texts.dtype.itemsize // 4)


def _format_utm(longitude: Floats, latitude: Floats, places: int) -> Texts:
    from exchange.geo.coordinates.utm import MOST_NORTHING_M, to_utm

    is_known = np.isfinite(longitude) & np.isfinite(latitude)
    utm = to_utm(longitude, latitude)
    is_outside = is_known & (utm.zone == 0)
    if is_outside.any():
        raise CoordinateError(
            f"{int(is_outside.sum())} of {longitude.size} positions lie beyond 80° S or 84° N, where UTM ends",
            remedy="Write them as MGRS, DD, DDM or DMS.",
        )
    scale = 10**places
    eastings, northings = (np.rint(np.where(is_known, m, 0.0) * scale) for m in (utm.easting_m, utm.northing_m))
    # What rounds to the equator from the south is the equator: northing 0, not 10,000,000.
    is_equator = northings >= MOST_NORTHING_M * scale
    is_north, northings = utm.is_north | is_equator, np.where(is_equator, 0.0, northings)
    texts = np.full(longitude.shape, "", "U1")
    for word, is_here in (("North", is_north), ("South", ~is_north)):
        for zone_width, is_wide in ((1, utm.zone < 10), (2, utm.zone >= 10)):
            rows = is_known & is_here & is_wide
            easting, northing = (_write_metres(steps[rows].astype(np.int64), places) for steps in (eastings, northings))
            zone = digits(utm.zone[rows], zone_width)
            here = assemble(int(rows.sum()), zone, f" {word} ", easting, "mE ", northing, "mN")
            texts = fill(texts, rows, here)
    return texts


def _write_metres(steps: NDArray[np.int64], places: int) -> Codes:
    """Return metres, given as whole steps of the last digit, with seven digits before the point."""
    whole, fraction = np.divmod(steps, 10**places)
    point = np.full((len(steps), 1), ord("."), np.uint32)
    return np.hstack([digits(whole, 7), point, digits(fraction, places)] if places else [digits(whole, 7)])


def _format_grid(longitude: Floats, latitude: Floats, form: GridForm, precision_m: int) -> Texts:
    precision = _read_precision(form, precision_m)
    is_polar = (latitude < -80.0) | (latitude > 84.0)
    if form == "USNG" and is_polar.any():
        raise CoordinateError(
            f"{int(is_polar.sum())} of {latitude.size} positions lie beyond 80° S or 84° N, where USNG ends",
            remedy="Write them as MGRS, DD, DDM or DMS.",
        )
    return _write_grid(longitude, latitude, precision, " " if form == "USNG" else "")


def _write_grid(longitude: Floats, latitude: Floats, precision: int, gap: str) -> Texts:
    import mgrs

    is_known = np.isfinite(longitude) & np.isfinite(latitude)
    points = np.column_stack([latitude[is_known], longitude[is_known]]).ravel()
    written = mgrs.MGRS().toMGRSArray(points, MGRSPrecision=precision)
    codes = np.frombuffer(written, np.uint8).reshape(-1, _MGRS_WIDTH).astype(np.uint32)
    texts = np.full(len(codes), "", "U1")
    is_polar, has_one_digit = codes[:, 0] >= ord("A"), codes[:, 0] == ord("0")
    # Where the zone's letters start and end: ZAB, 04QFJ (written 4QFJ), 18SUJ.
    for start, end, rows in ((0, 1, is_polar), (1, 3, has_one_digit), (0, 3, ~is_polar & ~has_one_digit)):
        here = codes[rows]
        middle, last = end + 2 + precision, end + 2 + 2 * precision
        parts: list[str | Codes] = [here[:, start:end], gap, here[:, end : end + 2]]
        parts += [gap, here[:, end + 2 : middle], gap, here[:, middle:last]] if precision else []
        texts = fill(texts, rows, assemble(len(here), *parts))
    return fill(np.full(longitude.shape, "", texts.dtype), is_known, texts)
