from __future__ import annotations

import numpy as np

from exchange.model import Track
from exchange.perimeter.fixes import gather_fixes

BEGIN = np.datetime64("2026-08-13T12:00:00", "ms")
LONGITUDE, LATITUDE = np.linspace(-114.0, -113.9, 6), np.full(6, 44.5)


def gather(time: object) -> tuple[list[float], list[bool]]:
    fixes = gather_fixes([Track(longitude=LONGITUDE, latitude=LATITUDE, time=time)])
    return fixes.seconds.tolist(), fixes.is_stamped.tolist()


def test_missing_stamps_are_taken_between_their_neighbours() -> None:
    """A fix without a time lies half way between those of the fixes beside it."""
    time = BEGIN + np.arange(6) * np.timedelta64(2000, "ms")
    time[2] = np.datetime64("NaT")
    seconds, is_stamped = gather(time)
    assert seconds == [0.0, 2.0, 4.0, 6.0, 8.0, 10.0]
    assert is_stamped == [True, True, False, True, True, True]


def test_stamps_that_are_all_one_tell_nothing() -> None:
    """A log whose fixes all have one time has no times, but it is no drawn line."""
    seconds, is_stamped = gather(np.full(6, BEGIN))
    assert np.isnan(seconds).all()
    assert all(is_stamped)


def test_a_drawn_line_has_no_stamps() -> None:
    """Without times there are no seconds and no stamps."""
    seconds, is_stamped = gather(None)
    assert np.isnan(seconds).all()
    assert not any(is_stamped)
