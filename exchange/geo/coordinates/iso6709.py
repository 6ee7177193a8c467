"""Positions as ISO 6709 and the well-known text of OGC 06-103r4 write them: the order is part of the standard."""

from __future__ import annotations

import re
from typing import Final, NamedTuple

from exchange.errors import CoordinateError
from exchange.geo.coordinates.degrees import AngleForm, add_up, find_step_degrees

# Latitude as DD, DDMM or DDMMSS, longitude as DDD, DDDMM or DDDMMSS, a decimal fraction on the last of them; then
# perhaps a height, the reference system and a solidus (from memory: ISO 6709:2008, Annex H).
_ISO_6709: Final = re.compile(
    r"(?P<latitude>[+-][0-9]{2}(?:[0-9]{2}){0,2}(?:[.,][0-9]{1,20})?)"
    r"(?P<longitude>[+-](?:[0-9]{3}(?:[0-9]{2}){0,2}|[0-9]{2}(?=[.,]))(?:[.,][0-9]{1,20})?)"
    r"(?:(?P<height>[+-][0-9]{1,6}(?:[.,][0-9]{1,6})?)?(?:CRS(?P<crs>[A-Za-z0-9_:]+))?(?P<end>/))?\Z"
)
_NUMBER: Final = r"[+-]?(?:[0-9]+(?:[.][0-9]*)?|[.][0-9]+)(?:[eE][+-]?[0-9]{1,3})?"
_WKT_POINT: Final = re.compile(
    rf"(?i)(?:SRID=(?P<srid>[0-9]+);)?\s*POINT\s*(?P<dimensions>Z)?\s*"
    rf"\(\s*(?P<longitude>{_NUMBER})\s+(?P<latitude>{_NUMBER})(?:\s+(?P<height>{_NUMBER}))?\s*\)\Z"
)


class StandardText(NamedTuple):
    """Hold what a text in a standard's own order says; the height is in metres, ``None`` where there is none."""

    longitude: float
    latitude: float
    form: AngleForm
    step_degrees: float
    height_m: float | None


def match_iso6709(text: str) -> StandardText | None:
    """Return what an ISO 6709 text says, or ``None`` where it is none.

    Raises
    ------
    CoordinateError
        If it is one, and its reference system is not WGS 84 or its position not on the earth.
    """
    match = _ISO_6709.match(text)
    if match is None:
        return None
    if match["crs"] and match["crs"].upper() not in ("WGS_84", "WGS84", "EPSG:4326"):
        raise CoordinateError(
            f"{text!r} is in the reference system {match['crs']}", remedy="Convert it to WGS 84 first."
        )
    latitude, form, step = _read_field(text, match["latitude"], 2)
    longitude, longitude_form, longitude_step = _read_field(text, match["longitude"], 3)
    if form != longitude_form:
        raise CoordinateError(f"{text!r} writes {form} and {longitude_form}", remedy="Write both in one form.")
    _require_on_earth(text, longitude, latitude)
    height = match["height"]
    return StandardText(
        longitude, latitude, form, max(step, longitude_step), float(height.replace(",", ".")) if height else None
    )


def match_wkt_point(text: str) -> StandardText | None:
    """Return what a WKT point of longitude, latitude and perhaps height says, or ``None`` where it is none.

    Raises
    ------
    CoordinateError
        If it is one, and its reference system is not WGS 84 or its position not on the earth.
    """
    match = _WKT_POINT.match(text.strip())
    if match is None:
        return None
    if match["srid"] not in (None, "4326"):
        raise CoordinateError(f"{text!r} is in EPSG:{match['srid']}", remedy="Convert it to WGS 84 first.")
    longitude, latitude = float(match["longitude"]), float(match["latitude"])
    _require_on_earth(text, longitude, latitude)
    steps = [find_step_degrees([match[name]]) for name in ("longitude", "latitude")]
    return StandardText(longitude, latitude, "DD", max(steps), float(match["height"]) if match["height"] else None)


def _read_field(text: str, field: str, degree_digits: int) -> tuple[float, AngleForm, float]:
    whole, _, fraction = field[1:].replace(",", ".").partition(".")
    degrees, rest = (whole, "") if len(whole) <= degree_digits else (whole[:degree_digits], whole[degree_digits:])
    parts = [degrees, *(rest[start : start + 2] for start in range(0, len(rest), 2))]
    numbers = [float(part) for part in parts[:-1]] + [float(f"{parts[-1]}.{fraction or 0}")]
    if any(number >= 60.0 for number in numbers[1:]):
        raise CoordinateError(f"{text!r} has minutes or seconds of 60 or more", remedy="They must be below 60.")
    form: AngleForm = ("DD", "DDM", "DMS")[len(parts) - 1]
    value = add_up(*numbers)
    step_degrees = find_step_degrees([*parts[:-1], f"{parts[-1]}.{fraction}"])
    return (-value if field[0] == "-" else value), form, step_degrees


def _require_on_earth(text: str, longitude: float, latitude: float) -> None:
    if not (abs(longitude) <= 180.0 and abs(latitude) <= 90.0):
        raise CoordinateError(
            f"{text!r} is not on the earth",
            remedy="Check whether latitude and longitude are swapped, or metres written as degrees.",
        )
