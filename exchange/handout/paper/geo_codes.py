"""Positions as ``geo:`` URIs (RFC 5870) and the QR codes (ISO/IEC 18004) that carry them."""

from __future__ import annotations

import io
import math
from collections.abc import Sequence
from typing import Final

from exchange.errors import CoordinateError

MOST_SHEET_VERSION: Final = 22
"""The largest code for a whole sheet: 105 modules a side, so that a module is 0.4 mm wide on 45 mm of paper."""

URI_DECIMALS: Final = 6


def format_geo_uri(longitude: float, latitude: float, accuracy_m: float = math.nan) -> str:
    """Return the ``geo:`` URI of a position; WGS 84 is the URI's own default.

    Parameters
    ----------
    longitude, latitude
        Degrees. At a pole the longitude is written as 0 (RFC 5870 §3.4.2).
    accuracy_m
        Uncertainty in metres, rounded up (RFC 5870 §3.4.3); NaN leaves it out. Heights are left out: the URI's are
        above the ellipsoid, ours above mean sea level.

    Raises
    ------
    CoordinateError
        If the position is not on the earth.

    Examples
    --------
    >>> format_geo_uri(-114.00359, 44.5202, 2.4)
    'geo:44.520200,-114.003590;u=3'
    """
    if not (abs(latitude) <= 90.0 and abs(longitude) <= 180.0):
        raise CoordinateError(f"({longitude}, {latitude}) is no position", remedy="Give degrees on the earth.")
    east = 0.0 if abs(latitude) == 90.0 else longitude
    uncertainty = f";u={math.ceil(accuracy_m)}" if math.isfinite(accuracy_m) else ""
    return f"geo:{_decimal(latitude)},{_decimal(east)}{uncertainty}"


def draw_code(text: str) -> bytes:
    """Return the QR code of a text as PNG, with the quiet zone of four modules the standard asks for."""
    import segno

    return _to_png(segno.make_qr(text, error="m"))


def draw_sheet_code(names: Sequence[str], longitude: Sequence[float], latitude: Sequence[float]) -> bytes | None:
    """Return one QR code of all names and positions as PNG; ``None`` when they do not fit a legible one.

    A line a spot: the number, the latitude and the longitude in decimal degrees of WGS 84.
    """
    import segno

    rows = zip(names, latitude, longitude, strict=True)
    lines = ["WGS 84", *(f"{name} {_decimal(north)},{_decimal(east)}" for name, north, east in rows)]
    try:
        code = segno.make_qr("\n".join(lines), error="l")
    except segno.DataOverflowError:
        return None
    return _to_png(code) if int(code.version) <= MOST_SHEET_VERSION else None


def _decimal(degrees: float) -> str:
    text = f"{degrees:.{URI_DECIMALS}f}"
    return text.removeprefix("-") if float(text) == 0 else text


def _to_png(code: object) -> bytes:
    target = io.BytesIO()
    code.save(target, kind="png", scale=4, border=4)  # type: ignore[attr-defined]  # segno is typed loosely
    return target.getvalue()
