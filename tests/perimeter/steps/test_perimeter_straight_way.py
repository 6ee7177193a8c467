from __future__ import annotations

import numpy as np
import pytest

from exchange.model import Track
from exchange.perimeter import TraceOptions, trace_perimeter
from exchange.perimeter.straight_way import find_straight_ways

Floats = np.ndarray


def make_arc(first_degrees: float, last_degrees: float, radius_m: float = 200.0) -> Floats:
    """Return places 2.5 m apart on a wavy circle."""
    angle = np.radians(np.linspace(first_degrees, last_degrees, round(abs(last_degrees - first_degrees) * 1.4)))
    radius = radius_m + 8.0 * np.sin(9.0 * angle)
    return np.column_stack([radius * np.cos(angle), radius * np.sin(angle)])


def make_line(*corners: tuple[float, float]) -> Floats:
    """Return places 2.5 m apart along straight lines."""
    at = np.array(corners)
    along = np.r_[0.0, np.cumsum(np.hypot(*np.diff(at, axis=0).T))]
    wanted = np.arange(0.0, along[-1], 2.5)
    return np.column_stack([np.interp(wanted, along, at[:, axis]) for axis in (0, 1)])


def to_track(places: Floats) -> Track:
    """Return a flight at 5 m/s over the places."""
    rows = np.arange(len(places))
    return Track(
        longitude=-114.0 + places[:, 0] / (111_320.0 * np.cos(np.radians(44.5))),
        latitude=44.5 + places[:, 1] / 111_130.0,
        time=np.datetime64("2026-08-14T12:00:00", "ms") + rows * np.timedelta64(500, "ms"),
    )


HALF = make_arc(0.0, 180.0)
HOME = make_line((-200.0, 0.0), (500.0, 0.0))


@pytest.mark.parametrize("is_reversed", [False, True])
def test_a_way_home_across_the_fire_is_found(is_reversed: bool) -> None:
    """The straight stretch that closes half a circle is found from both ends, with its places."""
    flight = np.vstack([HALF, HOME])
    (stretch,) = find_straight_ways([np.vstack([HALF, HOME[:160]])], [flight[::-1] if is_reversed else flight])
    assert sorted(stretch[:, 0].tolist()) == pytest.approx([-200.0, 200.0], abs=15.0)
    assert stretch[:, 1] == pytest.approx([0.0, 0.0], abs=1e-9)


def test_straight_edges_are_no_ways() -> None:
    """A square flown from its corner has a straight edge at the launch, and three more like it."""
    square = make_line((0, 0), (300, 0), (300, 300), (0, 300), (0, 0))
    assert find_straight_ways([square], [square]) == []


def test_a_ring_that_was_flown_whole_is_left_alone() -> None:
    """A way in and a way home that touch a whole ring close nothing."""
    ring = make_arc(0.0, 360.0)
    flight = np.vstack([make_line((500.0, 0.0), (200.0, 0.0)), ring, make_line((200.0, 0.0), (500.0, 0.0))])
    assert find_straight_ways([ring], [flight]) == []


def test_half_a_ring_with_a_straight_way_home_is_refused() -> None:
    """It is refused as half a ring with its open ends told; with leave it is written with what it lacks."""
    track = to_track(np.vstack([HALF, HOME]))
    refused = trace_perimeter([track])
    assert refused.perimeter is None
    assert [finding.code for finding in refused.refusals] == ["half-ring"]
    assert len(refused.open_ends) == 2
    written = trace_perimeter([track], options=TraceOptions(allow_open=True))
    assert written.perimeter is not None
    assert "half-ring" in str(written.perimeter.quality)
