"""What every part of the invented fire shares: its name, its place, its clock, its aircraft and its dice.

Nothing here is real: no fire, aircraft, crew or place of this name is meant. The ground lies across the border
of UTM zones 11 and 12, because that is where files go wrong.
"""

from __future__ import annotations

import zlib
from datetime import UTC, datetime, timedelta, timezone
from typing import Final

import numpy as np
from numpy.typing import NDArray

from exchange.demo_fire.grid import TransverseMercator

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]
Truths = NDArray[np.bool_]

FIRE: Final = "Marrow Flat (invented)"
NOTICE: Final = "All of this is invented for a demonstration: no such fire, crew, aircraft or place exists."
NAMESPACE: Final = "urn:invented:marrow-flat"

FRAME: Final = TransverseMercator(
    central_meridian=-114.00315, scale=1.0, false_easting_m=0.0, false_northing_m=0.0, origin_latitude=44.52
)
"""Metres east and north of the middle of the fire; x = 250 is the border of the UTM zones."""

LAUNCH: Final = (-560.0, -760.0)
"""Where the aircraft start and land, in metres of ``FRAME``."""

CLOCK_START: Final = datetime(2026, 8, 13, tzinfo=UTC)
LOCAL: Final = timezone(timedelta(hours=-6))
LOCAL_ZONE: Final = "America/Boise"
HOUR: Final = 3600.0

PERIODS: Final = (
    ("2026-08-13T04:00:00-06:00", "2026-08-14T04:00:00-06:00"),
    ("2026-08-14T04:00:00-06:00", "2026-08-15T04:00:00-06:00"),
)
"""The two operational periods, begin and end."""


def dice(seed: int, subject: str) -> np.random.Generator:
    """Return the random numbers of one subject, so that changing one part leaves the others as they were."""
    return np.random.default_rng([seed, zlib.crc32(subject.encode())])


def seconds_at(text: str) -> float:
    """Return the seconds since ``CLOCK_START`` of an ISO 8601 time with a zone."""
    return (datetime.fromisoformat(text) - CLOCK_START).total_seconds()


def in_utc(seconds: float, *, milliseconds: bool = False) -> str:
    """Write an instant in UTC, such as ``2026-08-13T11:12:05Z``."""
    text = _instant(seconds).isoformat(timespec="milliseconds" if milliseconds else "seconds")
    return text.replace("+00:00", "Z")


def in_local_zone(seconds: float) -> str:
    """Write an instant in local time with its zone, such as ``2026-08-13T05:12:05-06:00``."""
    return _instant(seconds).astimezone(LOCAL).isoformat(timespec="seconds")


def in_bare_local(seconds: float) -> str:
    """Write an instant in local time without any zone, such as ``2026-08-13 05:12:05``."""
    return _instant(seconds).astimezone(LOCAL).strftime("%Y-%m-%d %H:%M:%S")


def _instant(seconds: float) -> datetime:
    return CLOCK_START + timedelta(milliseconds=round(float(seconds) * 1000))
