from __future__ import annotations

import numpy as np
import pytest
from shapely.geometry import box

from exchange.model import Track
from exchange.perimeter import TraceReport
from exchange.perimeter.handing_back import to_perimeter

START = np.datetime64("2026-07-01T18:00:00", "ms")
SECONDS = START + np.arange(60) * np.timedelta64(1, "s")


def as_of(*times: np.ndarray) -> np.datetime64:
    """Return the instant of a perimeter that came of tracks with such times."""
    tracks = [Track(longitude=np.zeros(len(time)), latitude=np.zeros(len(time)), time=time) for time in times]
    return to_perimeter(box(0, 0, 1, 1), tracks, TraceReport(), (), ()).as_of


def test_a_perimeter_is_of_the_last_fix() -> None:
    """The last time of all tracks counts, whatever their order; without times it is unknown."""
    assert as_of(SECONDS + np.timedelta64(1, "h"), SECONDS) == SECONDS[-1] + np.timedelta64(1, "h")
    assert np.isnat(as_of(np.full(3, np.datetime64("NaT", "ms"))))
    assert np.isnat(as_of())


@pytest.mark.parametrize("wild", ["1980-01-06", "2080-01-06"])
@pytest.mark.parametrize("rows", [slice(20, 21), slice(0, 29)], ids=["one", "nearly-half"])
def test_a_clock_gone_wild_does_not_date_the_perimeter(wild: str, rows: slice) -> None:
    """Times of another year amid a flight are the clock's fault and make the perimeter neither older nor newer."""
    times = SECONDS.copy()
    times[rows] = np.datetime64(wild, "ms")
    assert as_of(times) == SECONDS[-1]
