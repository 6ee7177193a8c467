from __future__ import annotations

import numpy as np
import pytest

from exchange.model import Track
from exchange.perimeter import trace_perimeter
from exchange.perimeter.days_apart import DAYS_APART

NOON = np.datetime64("2026-08-14T12:00:00", "ms")


def make_half(first_degrees: float, start: np.datetime64 | None) -> Track:
    """Return a little more than half of a circle of 200 m, 181 fixes a second apart, or without times."""
    angle = np.radians(first_degrees + np.linspace(-5.0, 185.0, 181))
    times = None if start is None else start + np.arange(181) * np.timedelta64(1000, "ms")
    metre = 1.0 / 111_194.9
    longitude = -114.0 + 200.0 * metre / np.cos(np.radians(44.5)) * np.cos(angle)
    columns = {"longitude": longitude, "latitude": 44.5 + 200.0 * metre * np.sin(angle)}
    return Track(**columns) if times is None else Track(**columns, time=times)


@pytest.mark.parametrize(
    ("hours", "is_flagged"), [(0.2, False), (5.0, False), (23.0, True)], ids=["battery", "afternoon", "next-day"]
)
def test_flights_of_two_days_are_flagged(hours: float, is_flagged: bool) -> None:
    """Two halves of one ring flown a day apart are joined, and a person is told that the fire moved in between."""
    later = NOON + np.timedelta64(round(hours * 3_600_000), "ms")
    traced = trace_perimeter([make_half(180.0, later), make_half(0.0, NOON)])
    assert traced.perimeter is not None
    assert (DAYS_APART in {flag.code for flag in traced.flags}) is is_flagged
    assert (DAYS_APART in str(traced.perimeter.quality)) is is_flagged


def test_lines_without_times_are_of_no_day() -> None:
    """Of drawn lines nothing is known, and nothing is said."""
    traced = trace_perimeter([make_half(180.0, None), make_half(0.0, NOON)])
    assert traced.perimeter is not None
    assert DAYS_APART not in {flag.code for flag in traced.flags}
