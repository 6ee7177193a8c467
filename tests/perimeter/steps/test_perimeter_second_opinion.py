from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray

from exchange.geo.frame import LocalFrame
from exchange.perimeter.rings import FoundRing, RingSearch
from exchange.perimeter.second_opinion import TWO_READINGS, tell_dispute, weigh_rings
from tests.perimeter.steps.test_perimeter_readings import NEAR_M, along, around, to_flight

Floats = NDArray[np.float64]
LAUNCH, RING_X = (330.0, 30.0), 126.0


def flight_from_launch() -> Floats:
    """Return a flight around the ring with ways from the launch, wide apart, and back."""
    ring = around(20.0, 400.0 - 30.0)
    rest = around(10.0, 20.0)
    return np.vstack([along(LAUNCH, tuple(rest[0])), rest, ring, along(tuple(ring[-1]), LAUNCH)])


def test_what_both_find_is_confirmed() -> None:
    """Rings that the other reading takes as well are confirmed, and nothing is told."""
    search = RingSearch([FoundRing(around(0.0, 359.0))])
    opinion = weigh_rings(search, [to_flight(flight_from_launch())], within_m=NEAR_M)
    assert opinion.is_confirmed
    assert opinion.search is search
    assert tell_dispute(LocalFrame.around([-118.0], [40.0]), opinion) == []


def test_what_they_find_differently_is_told() -> None:
    """A ring that leaves out half of what was flown around is told as one of two readings."""
    half = around(0.0, 180.0)
    flight = np.vstack([around(0.0, 361.0), along((RING_X, 0.0), (-RING_X, 0.0))])
    opinion = weigh_rings(RingSearch([FoundRing(half)]), [to_flight(flight)], within_m=NEAR_M)
    assert not opinion.is_confirmed
    (flag,) = tell_dispute(LocalFrame.around([-118.0], [40.0]), opinion)
    assert flag.code == TWO_READINGS
    lower_half = shapely.Polygon(around(180.0, 360.0))
    assert all(shapely.contains_xy(lower_half, *place) for place in opinion.places)


def test_nothing_enclosed_is_no_opinion() -> None:
    """A way there and back encloses nothing: the search stands as it is."""
    search = RingSearch()
    way = np.vstack([along((0, 0), (400, 0)), along((400, 0), (0, 0))])
    opinion = weigh_rings(search, [to_flight(way)], within_m=NEAR_M)
    assert opinion.search is search
    assert not len(opinion.places)
