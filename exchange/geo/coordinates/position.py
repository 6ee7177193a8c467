"""Read one position from text, in any form, without guessing."""

from __future__ import annotations

import math
import re
from typing import Final, Literal, NamedTuple, get_args

from exchange.errors import AmbiguityError, CoordinateError, OptionError
from exchange.geo.coordinates.degrees import Angle, Axis, parse_angle
from exchange.geo.coordinates.grid import locate_grid, match_grid
from exchange.geo.coordinates.iso6709 import StandardText, match_iso6709, match_wkt_point
from exchange.geo.coordinates.utm import ZoneLetter, match_utm, resolve_utm

Form = Literal["DD", "DDM", "DMS", "UTM", "USNG", "MGRS", "WKT"]
Order = Literal["lat-lon", "lon-lat"]
FORMS: Final[tuple[Form, ...]] = get_args(Form)
ORDERS: Final[tuple[Order, ...]] = get_args(Order)

_ANGLE_FORMS: Final = ("DD", "DDM", "DMS")
# Between the two halves of a pair: one of these says it by itself. The letter x is common in incident papers.
_SEPARATORS: Final = (r"\s*[;|\t/]\s*", r"\s+[xX\u00d7]\s+", r"\s*,\s+|\s+,", r"\s*,\s*")
# Where nothing separates: before a sign or letter, after a letter, or at a space.
_SEAM: Final = re.compile(r"\s+|(?<=[0-9'\"\u00b0\u2032\u2033])(?=[+\-\u2212NSEWnsewl])|(?<=[NSEWnsew])(?=[0-9])")
_WORD: Final = re.compile(
    "(?i)latitude|longitude|lat|long|lon|lng|degrees?|deg|minutes?|min|seconds?|sec"
    "|(?P<hemisphere>north|south|east|west|[nsew])"
)


class Position(NamedTuple):
    """Hold a position read from text.

    Parameters
    ----------
    longitude, latitude
        Degrees. For a grid reference, the centre of its cell.
    form
        How it was written.
    resolution_m
        One step of the last digit on the ground in metres, the coarser of the two axes: what the text can tell
        apart, not how accurate it is.
    height_m
        Height in metres where the text holds one, else NaN.
    """

    longitude: float
    latitude: float
    form: Form
    resolution_m: float
    height_m: float = math.nan


def parse_position(
    text: str,
    *,
    form: Form | None = None,
    order: Order | None = None,
    hemispheres: str | None = None,
    zone_letter: ZoneLetter | None = None,
) -> Position:
    """Read one position.

    Parameters
    ----------
    text
        A pair of angles, UTM, a grid reference, ISO 6709, or a WKT point.
    form
        The one form that is allowed; any, if not given.
    order
        ``'lat-lon'`` or ``'lon-lat'``, for pairs of numbers without hemisphere letters or labels. Without it such
        a pair is read only where one number exceeds 90 and must be the longitude.
    hemispheres
        Two letters such as ``'NW'``, for degrees and minutes without letters or signs.
    zone_letter
        What the letter S behind a UTM zone means: a ``'band'`` or the ``'hemisphere'``.

    Raises
    ------
    AmbiguityError
        If the text can be read in more than one way; the message names the option that decides.
    CoordinateError
        If the text is no position, or one that is not on the earth.
    OptionError
        If an option is not one of those above.

    Examples
    --------
    >>> position = parse_position("40°12.217'N 120°45.100'W")
    >>> round(position.longitude, 6), round(position.latitude, 6), position.form
    (-120.751667, 40.203617, 'DDM')
    >>> parse_position("18S UJ 2348 0647").resolution_m
    10.0
    """
    require_position_options(form, order, hemispheres, zone_letter)
    position = _parse(text, order, hemispheres, zone_letter)
    if form is None or form == position.form:
        return position
    if {form, position.form} == {"USNG", "MGRS"} and not (form == "USNG" and position.resolution_m > 10_000.0):
        # Spaces are all that tells the two apart, except for the bare square, which only MGRS has.
        return position._replace(form=form)
    raise CoordinateError(f"{text!r} is {position.form}, not {form}", remedy=f"Give positions in {form}, or no form.")


def require_position_options(
    form: str | None, order: str | None, hemispheres: str | None, zone_letter: str | None
) -> None:
    """Refuse options that `parse_position` does not take.

    Raises
    ------
    OptionError
        Naming what is allowed.
    """
    if form is not None and form not in FORMS:
        raise OptionError(f"{form!r} is no form of coordinates", remedy=f"Use one of: {', '.join(FORMS)}.")
    if order is not None and order not in ORDERS:
        raise OptionError(f"{order!r} is no order of coordinates", remedy=f"Use one of: {', '.join(ORDERS)}.")
    if hemispheres is not None and not re.fullmatch("[NS][EW]", hemispheres):
        raise OptionError(f"{hemispheres!r} names no hemispheres", remedy="Use one of: NE, NW, SE, SW.")
    if zone_letter not in (None, "band", "hemisphere"):
        raise OptionError(f"{zone_letter!r} is no meaning of a zone's letter", remedy="Use 'band' or 'hemisphere'.")


def _parse(text: str, order: Order | None, hemispheres: str | None, zone_letter: ZoneLetter | None) -> Position:
    stripped = text.strip()
    if point := match_wkt_point(stripped):
        return _from_standard(point, "WKT")
    if said := match_iso6709(stripped):
        return _from_standard(said, said.form)
    if utm := match_utm(stripped):
        longitude, latitude = resolve_utm(text, utm, zone_letter)
        return Position(longitude, latitude, "UTM", utm.step_m)
    if grid := match_grid(stripped):
        cell = locate_grid(text, grid)
        return Position(cell.longitude, cell.latitude, "USNG" if grid.is_spaced else "MGRS", cell.size_m)
    return _parse_pair(text, order, hemispheres)


def _from_standard(said: StandardText, form: Form) -> Position:
    resolution_m = step_on_ground_m(said.step_degrees, said.step_degrees, said.latitude)
    height_m = math.nan if said.height_m is None else said.height_m
    return Position(said.longitude, said.latitude, form, resolution_m, height_m)


def step_on_ground_m(longitude_step_degrees: float, latitude_step_degrees: float, latitude: float) -> float:
    """Return the longer of two steps in metres; length of a degree from the series for WGS 84 (from memory)."""
    phi = math.radians(latitude)
    per_degree_of_latitude = 111_132.954 - 559.822 * math.cos(2.0 * phi) + 1.175 * math.cos(4.0 * phi)
    per_degree_of_longitude = 111_412.84 * math.cos(phi) - 93.5 * math.cos(3.0 * phi)
    return max(latitude_step_degrees * per_degree_of_latitude, longitude_step_degrees * per_degree_of_longitude)


def _parse_pair(text: str, order: Order | None, hemispheres: str | None) -> Position:
    """Return the one reading of the text as two angles."""
    readings: list[Position] = []
    refusals: list[CoordinateError | AmbiguityError] = []
    for first, second in _split(text):
        try:
            angles = parse_angle(first), parse_angle(second)
        except CoordinateError as refusal:
            refusals.append(refusal)
            continue
        try:
            readings.append(_combine(text, angles, order, hemispheres))
        except (CoordinateError, AmbiguityError) as refusal:
            refusals.append(refusal)
    if len(set(readings)) == 1:
        return readings[0]
    if readings:
        raise AmbiguityError(
            f"{text!r} can be read in {len(set(readings))} ways", remedy="Separate the two by a comma."
        )
    raise _choose_refusal(text, refusals)


def _choose_refusal(text: str, refusals: list[CoordinateError | AmbiguityError]) -> CoordinateError | AmbiguityError:
    """Return the refusal that tells most: of a pair that was understood, then of an angle that was, then none."""
    if re.fullmatch(r"[0-9]{6,7}(?:[.][0-9]+)?\s*(?:m?E)?[\s,]+[0-9]{6,8}(?:[.][0-9]+)?\s*(?:m?N)?", text.strip()):
        return CoordinateError(f"{text!r} has no UTM zone", remedy="Write the zone and North or South with it.")
    told = [refusal for refusal in refusals if "is no angle" not in refusal.message]
    ambiguous = [refusal for refusal in told if isinstance(refusal, AmbiguityError)]
    if told:
        return (ambiguous or told)[0]
    letter_o = [refusal for refusal in refusals if refusal.remedy and refusal.remedy.startswith("O is")]
    remedy = letter_o[0].remedy if letter_o else "Write degrees with N, S, E and W, UTM with its zone, or USNG."
    return CoordinateError(f"{text!r} is no position", remedy=remedy)


def _split(text: str) -> list[tuple[str, str]]:
    """Return the ways to part the text in two; where a separator says it there is only one."""
    body = text.strip()
    if body[:1] + body[-1:] in ("()", "[]"):
        body = body[1:-1].strip()
    for separator in _SEPARATORS:
        parts = re.split(separator, body)
        if len(parts) == 2:
            return [(parts[0], parts[1])]
    halves = [(body[: seam.start()], body[seam.end() :]) for seam in _SEAM.finditer(body)]
    # What was most likely meant comes first, so that its refusal is the one told.
    return sorted(halves, key=lambda pair: abs(_count_letters(pair[0]) - _count_letters(pair[1])))


def _count_letters(text: str) -> int:
    return sum(1 for word in _WORD.finditer(text) if word["hemisphere"])


def _combine(text: str, angles: tuple[Angle, Angle], order: Order | None, hemispheres: str | None) -> Position:
    first, second = angles
    if first.form != second.form:
        raise CoordinateError(f"{text!r} mixes {first.form} and {second.form}", remedy="Write both in one form.")
    if first.has_letter != second.has_letter:
        raise CoordinateError(
            f"{text!r} has one hemisphere letter",
            remedy="Write N or S with the latitude and E or W with the longitude.",
        )
    axis = _find_first_axis(text, first, second, order)
    latitude, longitude = (first, second) if axis == "latitude" else (second, first)
    values = _apply_hemispheres(text, latitude, longitude, hemispheres)
    if abs(values[0]) > 90.0:
        raise CoordinateError(
            f"{text!r} has the latitude {values[0]:g}", remedy="Check whether latitude and longitude are swapped."
        )
    resolution_m = step_on_ground_m(longitude.step_degrees, latitude.step_degrees, values[0])
    return Position(values[1], values[0], first.form, resolution_m)


def _find_first_axis(text: str, first: Angle, second: Angle, order: Order | None) -> Axis:
    """Return what the first of the two is."""
    if first.axis and first.axis == second.axis:
        raise CoordinateError(f"{text!r} has two {first.axis}s", remedy="Write one latitude and one longitude.")
    if first.axis:
        return first.axis
    if second.axis:
        return "latitude" if second.axis == "longitude" else "longitude"
    if order:
        return "latitude" if order == "lat-lon" else "longitude"
    if abs(first.degrees) > 90.0 or abs(second.degrees) > 90.0:
        return "longitude" if abs(first.degrees) > 90.0 else "latitude"
    raise AmbiguityError(
        f"in {text!r} either number may be the latitude",
        remedy="Write N, S, E and W, or say order='lat-lon' or order='lon-lat'.",
    )


def _apply_hemispheres(text: str, latitude: Angle, longitude: Angle, hemispheres: str | None) -> tuple[float, float]:
    """Return latitude and longitude, signed; where nothing in the text tells the signs, the option must."""
    if latitude.is_stated or longitude.is_stated:
        return latitude.degrees, longitude.degrees
    if hemispheres is None:
        raise AmbiguityError(
            f"{text!r} does not say which hemispheres",
            remedy="Write N, S, E and W, or say hemispheres='NW' or the like.",
        )
    south, west = hemispheres[0] == "S", hemispheres[1] == "W"
    return (-latitude.degrees if south else latitude.degrees), (-longitude.degrees if west else longitude.degrees)
