"""Universal Transverse Mercator on WGS 84: zones, metres, and how they are written.

Scale 0.9996 on the central meridian, false easting 500,000 m, false northing 10,000,000 m in the south
(NGA.SIG.0012); the projection itself is PROJ's. Zones are those of the Military Grid Reference System with its
exceptions for Norway and Svalbard (NGA.STND.0037).
"""

from __future__ import annotations

import re
from functools import cache
from typing import TYPE_CHECKING, Final, Literal, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from exchange.errors import AmbiguityError, CoordinateError

if TYPE_CHECKING:
    from pyproj import Proj

Floats = NDArray[np.float64]
ZoneLetter = Literal["band", "hemisphere"]

SOUTH_LIMIT_DEGREES: Final = -80.0
NORTH_LIMIT_DEGREES: Final = 84.0
# Latitude bands of 8 degrees from 80 south, X of 12; I and O are left out (NGA.STND.0037).
BANDS: Final = "CDEFGHJKLMNPQRSTUVWX"
LEAST_EASTING_M: Final = 100_000.0
MOST_EASTING_M: Final = 900_000.0
MOST_NORTHING_M: Final = 10_000_000.0
# How far a northing may lie outside the band that is written with it, for a position on the edge.
BAND_SLACK_DEGREES: Final = 1e-4
# Rounded to whole metres, a position on the edge of UTM comes to lie a little outside.
EDGE_SLACK_DEGREES: Final = 1e-5


class UtmPositions(NamedTuple):
    """Hold positions in UTM as columns: zone 1-60, north or south of the equator, metres."""

    zone: NDArray[np.int64]
    is_north: NDArray[np.bool_]
    easting_m: Floats
    northing_m: Floats


class UtmText(NamedTuple):
    """Hold what one UTM text says."""

    zone: int
    letter: str
    easting_m: float
    northing_m: float
    step_m: float


def standard_zone(longitude: ArrayLike, latitude: ArrayLike) -> NDArray[np.int64]:
    """Return the UTM zone of each position; 0 where a position is NaN or beyond 80° S or 84° N.

    Examples
    --------
    >>> standard_zone([-120.75, 5.3249, 9.5], [40.2, 60.39135, 78.0])
    array([10, 32, 33])
    """
    lon, lat = np.broadcast_arrays(np.asarray(longitude, np.float64), np.asarray(latitude, np.float64))
    is_inside = (lat >= SOUTH_LIMIT_DEGREES) & (lat <= NORTH_LIMIT_DEGREES) & (np.abs(lon) <= 180.0)
    east = np.where(is_inside, np.where(lon == 180.0, -180.0, lon), 0.0)
    zone = np.floor(east / 6.0).astype(np.int64) + 31
    zone = np.where((lat >= 56.0) & (lat < 64.0) & (east >= 3.0) & (east < 12.0), 32, zone)
    # Svalbard: zones 31, 33, 35 and 37 are 9 or 12 degrees wide, 32, 34 and 36 are not used.
    svalbard = 31 + 2 * np.digitize(east, [9.0, 21.0, 33.0])
    zone = np.where((lat >= 72.0) & (east >= 0.0) & (east < 42.0), svalbard, zone)
    return np.where(is_inside, zone, 0)


def band_limits(band: str) -> tuple[float, float]:
    """Return the southern and northern latitude of a band."""
    south = SOUTH_LIMIT_DEGREES + 8.0 * BANDS.index(band)
    return south, NORTH_LIMIT_DEGREES if band == "X" else south + 8.0


def is_in_band(latitude: ArrayLike, band_index: ArrayLike, slack_degrees: ArrayLike) -> NDArray[np.bool_]:
    """Tell which latitudes lie in the band of that place in `BANDS`, or outside it by no more than the slack."""
    lat, index, slack = np.asarray(latitude), np.asarray(band_index), np.asarray(slack_degrees)
    south = SOUTH_LIMIT_DEGREES + 8.0 * index
    north = np.where(index == len(BANDS) - 1, NORTH_LIMIT_DEGREES, south + 8.0)
    return np.asarray((lat >= south - slack) & (lat <= north + slack), np.bool_)


def to_utm(longitude: ArrayLike, latitude: ArrayLike) -> UtmPositions:
    """Return positions in degrees as UTM of their own zone; NaN and what UTM does not cover are zone 0 and NaN."""
    lon, lat = np.broadcast_arrays(np.asarray(longitude, np.float64), np.asarray(latitude, np.float64))
    zone, is_north = standard_zone(lon, lat), lat >= 0.0
    easting, northing = _by_zone(zone, is_north, lon, lat, inverse=False)
    return UtmPositions(zone, is_north, easting, northing)


def from_utm(
    zone: ArrayLike, is_north: ArrayLike, easting_m: ArrayLike, northing_m: ArrayLike
) -> tuple[Floats, Floats]:
    """Return longitudes and latitudes in degrees for UTM columns.

    NaN comes back where a zone is not 1 to 60, or easting or northing are NaN or not of UTM: eastings outside
    100,000 to 900,000 m, northings outside 0 to 10,000,000 m, latitudes beyond 80° S or 84° N.
    """
    zones, north, easting, northing = np.broadcast_arrays(
        np.asarray(zone, np.int64),
        np.asarray(is_north, np.bool_),
        np.asarray(easting_m, np.float64),
        np.asarray(northing_m, np.float64),
    )
    is_utm = (zones >= 1) & (zones <= 60) & (easting >= LEAST_EASTING_M) & (easting <= MOST_EASTING_M)
    is_utm &= (northing >= 0.0) & (northing <= MOST_NORTHING_M)
    longitude, latitude = project_back(np.where(is_utm, zones, 0), north, easting, northing)
    is_covered = latitude >= SOUTH_LIMIT_DEGREES - EDGE_SLACK_DEGREES
    is_covered &= latitude <= NORTH_LIMIT_DEGREES + EDGE_SLACK_DEGREES
    return np.where(is_covered, longitude, np.nan), np.where(is_covered, latitude, np.nan)


def from_lettered_utm(
    zone: ArrayLike,
    letter: ArrayLike,
    easting_m: ArrayLike,
    northing_m: ArrayLike,
    *,
    zone_letter: ZoneLetter | None = None,
) -> tuple[Floats, Floats]:
    """Return longitudes and latitudes for UTM columns whose zone has a letter, by the rule of `resolve_utm`.

    Parameters
    ----------
    zone, easting_m, northing_m
        As for `from_utm`.
    letter
        Upper-case: ``NORTH``, ``SOUTH``, ``N``, ``S`` or the letter of a latitude band.
    zone_letter
        What the letter S means: a ``'band'`` or the ``'hemisphere'``.

    Returns
    -------
    longitude, latitude
        Degrees; NaN where the columns are not of UTM, where a band does not fit its northing, and where S may be
        the band or the south.

    Examples
    --------
    >>> from_lettered_utm([10, 10], ["N", "S"], 500_000.0, 4_000_000.0)[1].round(3)
    array([36.145,    nan])
    """
    word = np.asarray(letter, np.str_)
    is_hemisphere = np.isin(word, ("NORTH", "SOUTH", "N"))
    if zone_letter == "hemisphere":
        is_hemisphere |= word == "S"
    says_north = np.where(is_hemisphere, np.char.startswith(word, "N"), word >= "N")
    longitude, latitude = from_utm(zone, says_north, easting_m, northing_m)
    index = np.reshape([BANDS.find(one) for one in word.ravel().tolist()], word.shape)
    fits = (index >= 0) & is_in_band(latitude, index, BAND_SLACK_DEGREES)
    is_sure = is_hemisphere | (fits & (zone_letter != "hemisphere"))
    if zone_letter is None:
        # Outside band S the letter can only be the south; inside, either.
        is_sure &= word != "S"
        is_south = (word == "S") & ~fits
        south = from_utm(zone, False, easting_m, northing_m)
        longitude, latitude = np.where(is_south, south[0], longitude), np.where(is_south, south[1], latitude)
        is_sure |= is_south
    return np.where(is_sure, longitude, np.nan), np.where(is_sure, latitude, np.nan)


def project_back(
    zone: NDArray[np.int64], is_north: NDArray[np.bool_], easting_m: Floats, northing_m: Floats
) -> tuple[Floats, Floats]:
    """Return longitudes and latitudes for UTM columns of one shape, without asking whether they are in bounds."""
    return _by_zone(zone, is_north, easting_m, northing_m, inverse=True)


def _by_zone(
    zone: NDArray[np.int64], is_north: NDArray[np.bool_], first: Floats, second: Floats, *, inverse: bool
) -> tuple[Floats, Floats]:
    answer_1, answer_2 = np.full(zone.shape, np.nan), np.full(zone.shape, np.nan)
    key = np.where(zone > 0, 2 * zone + is_north, 0)
    for one in np.unique(key[key > 0]).tolist():
        rows = key == one
        projection = _projection(one // 2, bool(one % 2))
        answer_1[rows], answer_2[rows] = projection(first[rows], second[rows], inverse=inverse)
    is_known = np.isfinite(answer_1) & np.isfinite(answer_2)
    return np.where(is_known, answer_1, np.nan), np.where(is_known, answer_2, np.nan)


@cache
def _projection(zone: int, is_north: bool) -> Proj:
    from pyproj import Proj

    return Proj(proj="utm", zone=zone, south=not is_north, datum="WGS84")


_ZONE = r"(?:utm[ ]*)?(?:zone[ ]*)?(?P<zone>[0-9]{1,2})[ ]*(?P<letter>north|south|[c-hj-np-x])"
_METRES = "[0-9]{1,8}(?:[.][0-9]{1,6})?"
_PAIRS = (
    rf"(?:e[:=]?[ ]*)?(?P<easting>{_METRES})(?:[ ]*m?[ ]*e)?(?:[ ]*,[ ]*|[ ]+)"
    rf"(?:n[:=]?[ ]*)?(?P<northing>{_METRES})(?:[ ]*m?[ ]*n)?",
    rf"(?:n[:=]?[ ]*(?P<northing>{_METRES})(?:[ ]*,[ ]*|[ ]+)e[:=]?[ ]*(?P<easting>{_METRES}))",
    rf"(?P<northing>{_METRES})[ ]*m?[ ]*n(?:[ ]*,[ ]*|[ ]+)(?P<easting>{_METRES})[ ]*m?[ ]*e",
)
PATTERNS: Final = tuple(
    f"^(?i){pattern}$"
    for pair in _PAIRS
    for pattern in (rf"{_ZONE}(?:[ ]*,[ ]*|[ ]+){pair}", rf"{pair}(?:[ ]*,[ ]*|[ ]+){_ZONE}")
)


@cache
def _compiled() -> tuple[re.Pattern[str], ...]:
    return tuple(re.compile(pattern.replace("^(?i)", "(?i)").removesuffix("$") + r"\Z") for pattern in PATTERNS)


def match_utm(text: str) -> UtmText | None:
    """Return what a UTM text says, or ``None`` where it is no UTM text."""
    collapsed = re.sub("[ \t\u00a0\u2009\u202f]+", " ", text.strip())
    match = next((found for pattern in _compiled() if (found := pattern.match(collapsed))), None)
    if match is None:
        return None
    easting, northing = match["easting"], match["northing"]
    decimals = min(len(number.partition(".")[2]) for number in (easting, northing))
    return UtmText(int(match["zone"]), match["letter"].upper(), float(easting), float(northing), 10.0**-decimals)


def resolve_utm(text: str, said: UtmText, zone_letter: ZoneLetter | None) -> tuple[float, float]:
    """Return longitude and latitude for a UTM text.

    The words North and South name the hemisphere, and so does N, since band N lies north as well. S is read as
    the hemisphere where the northing cannot lie in band S (32° to 40° N), and is refused where both readings are
    possible and `zone_letter` does not say which. Every other letter is a band, and must fit the northing.

    Raises
    ------
    AmbiguityError
        If S may be the band or the south.
    CoordinateError
        If zone, easting or northing are not of UTM, or the band does not fit the northing.
    """
    if not 1 <= said.zone <= 60:
        raise CoordinateError(f"{text!r} has the zone {said.zone}", remedy="UTM zones are 1 to 60.")
    is_hemisphere = said.letter in ("NORTH", "SOUTH", "N") or (said.letter == "S" and zone_letter == "hemisphere")
    if zone_letter == "hemisphere" and not is_hemisphere:
        raise CoordinateError(f"{text!r} has the band {said.letter}", remedy="Write N or S for the hemisphere.")
    if is_hemisphere:
        return _locate(text, said, said.letter.startswith("N"))
    if said.letter == "S" and zone_letter is None:
        return _resolve_s(text, said)
    position = _locate(text, said, said.letter >= "N")
    _require_band(text, position[1], said.letter)
    return position


def _locate(text: str, said: UtmText, is_north: bool) -> tuple[float, float]:
    longitude, latitude = from_utm(said.zone, is_north, said.easting_m, said.northing_m)
    if np.isnan(latitude):
        raise CoordinateError(
            f"{text!r} is outside UTM",
            remedy="Eastings lie between 100000 and 900000 m, northings between 0 and 10000000 m, "
            "latitudes between 80° S and 84° N.",
        )
    return float(longitude), float(latitude)


def _resolve_s(text: str, said: UtmText) -> tuple[float, float]:
    _, as_band = from_utm(said.zone, True, said.easting_m, said.northing_m)
    if is_in_band(as_band, BANDS.index("S"), BAND_SLACK_DEGREES):
        raise AmbiguityError(
            f"in {text!r} the S may be the latitude band (32° to 40° N) or the southern hemisphere",
            remedy="Write North or South, or say zone_letter='band' or zone_letter='hemisphere'.",
        )
    return _locate(text, said, False)


def _require_band(text: str, latitude: float, band: str) -> None:
    if not is_in_band(latitude, BANDS.index(band), BAND_SLACK_DEGREES):
        south, north = band_limits(band)
        raise CoordinateError(
            f"the northing in {text!r} lies at latitude {latitude:.4f}, outside band {band} ({south:g} to {north:g})",
            remedy="Check the zone letter and the northing; for a hemisphere write North or South.",
        )
