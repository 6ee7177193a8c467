from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from exchange.geo.frame import LocalFrame
from exchange.model import Track
from exchange.perimeter.camera import Sight, find_look_points, offset_ring
from exchange.perimeter.fixes import Fixes, gather_fixes

Floats = NDArray[np.float64]
FRAME = LocalFrame(-114.0, 44.5)
COUNT = 40
EAST = np.column_stack([np.arange(COUNT) * 5.0, np.zeros(COUNT)])


def fly_east(**columns: object) -> tuple[Floats, Fixes, Floats]:
    """Return an invented straight flight at 5 m/s, its fixes and their intervals."""
    longitude, latitude = FRAME.to_degrees(EAST[:, 0], EAST[:, 1])
    track = Track(longitude=longitude, latitude=latitude, **columns)  # type: ignore[arg-type]  # columns of any kind
    return EAST, gather_fixes([track]), np.r_[0.0, np.ones(COUNT - 1)]


def look(elevation: object = None, height_m: float = math.nan, **columns: object) -> Sight:
    xy, fixes, steps = fly_east(**columns)
    return find_look_points(FRAME, xy, fixes, steps, elevation=elevation, height_m=height_m)  # type: ignore[arg-type]


@given(st.floats(12.0, 87.0), st.floats(0.0, 360.0), st.floats(5.0, 400.0))
def test_on_level_ground_it_is_height_over_tangent(depression: float, heading: float, height: float) -> None:
    """Trigonometry: the look point is height / tan(depression) away along the camera's heading."""
    sight = look(height=height, camera_heading=heading, camera_pitch=-depression)
    reach = height / math.tan(math.radians(depression))
    turn = math.radians(heading)
    assert sight.is_moved.all()
    assert sight.xy - EAST == pytest.approx(np.tile([reach * math.sin(turn), reach * math.cos(turn)], (COUNT, 1)))


@pytest.mark.parametrize(
    "columns",
    [
        {"camera_heading": 0.0, "camera_pitch": -90.0, "height": 50.0},
        {"camera_heading": 0.0, "camera_pitch": -45.0},
        {"camera_heading": np.nan, "camera_pitch": -45.0, "height": 50.0},
        {"camera_heading": 0.0, "camera_pitch": 5.0, "height": 50.0},
        {"camera_heading": 0.0, "camera_pitch": -2.0, "height": 50.0},
        {"camera_heading": 0.0, "camera_pitch": -45.0, "height": -3.0},
    ],
    ids=["down", "no height", "no heading", "above the horizon", "grazing", "below the launch"],
)
def test_what_the_log_does_not_tell_moves_nothing(columns: dict[str, float]) -> None:
    """A camera that looks down, a missing value, a look at the sky: the fix stays where it is."""
    sight = look(**columns)
    assert not sight.is_moved.any()
    assert (sight.xy == EAST).all()


def test_the_altitude_above_the_launch_serves_as_height() -> None:
    """Without heights the first altitude is the launch's; a stated height comes before it."""
    altitude = np.r_[1500.0, np.full(COUNT - 1, 1560.0)]
    by_altitude = look(altitude=altitude, camera_heading=0.0, camera_pitch=-45.0)
    assert by_altitude.xy[5:, 1] == pytest.approx(60.0)
    assert look(altitude=altitude, camera_heading=0.0, camera_pitch=-45.0, height_m=80.0).xy[:, 1] == pytest.approx(
        80.0
    )


def test_sideways_is_beside_the_course() -> None:
    """North of an eastward course is sideways; ahead and behind are not."""
    for heading, expected in ((0.0, True), (180.0, True), (90.0, False), (270.0, False)):
        sight = look(height=50.0, camera_heading=heading, camera_pitch=-45.0)
        assert (sight.is_sideways == expected).all()


@settings(max_examples=40)
@example(slope=0.5, depression=25.0, heading=270.0)
@example(slope=0.5, depression=25.0, heading=90.0)
@given(st.floats(-0.6, 0.6), st.floats(25.0, 80.0), st.floats(0.0, 360.0))
def test_a_slope_is_met_where_algebra_says(slope: float, depression: float, heading: float) -> None:
    """On ground G + s x the sight line of fall f along (u, v) ends at t = (A - G - s x) / (f + s u)."""

    def ground(longitude: Floats, latitude: Floats) -> Floats:
        return 1000.0 + slope * FRAME.to_metres(longitude, latitude)[0]

    fall, turn = math.tan(math.radians(depression)), math.radians(heading)
    altitude = 1400.0
    sight = look(ground, altitude=altitude, camera_heading=heading, camera_pitch=-depression)
    reach = (altitude - 1000.0 - slope * EAST[:, 0]) / (fall + slope * math.sin(turn))
    # Ground that falls faster than the line of sight is never met; farther than four times the level distance it is
    # not followed.
    within = (reach > 0.0) & (reach < 3.9 * (altitude - 1000.0 - slope * EAST[:, 0]) / fall)
    assert sight.reach_m[within] == pytest.approx(reach[within], rel=1e-4, abs=1e-3)
    assert np.isfinite(sight.xy).all()


def test_beyond_the_elevation_model_the_ground_is_flat() -> None:
    """A model that does not know the place changes nothing, and gives no NaN."""
    sight = look(lambda lon, lat: np.full(lon.shape, np.nan), height=50.0, camera_heading=0.0, camera_pitch=-45.0)
    assert sight.xy[:, 1] == pytest.approx(50.0)


def test_quick_errors_of_the_angle_are_averaged() -> None:
    """Over a second of fixes at 10 Hz noise of the pitch shrinks; the mean stays."""
    xy, _, _ = fly_east()
    noise = np.random.default_rng(2611).normal(0.0, 3.0, COUNT)
    longitude, latitude = FRAME.to_degrees(xy[:, 0], xy[:, 1])
    fixes = gather_fixes(
        [Track(longitude=longitude, latitude=latitude, height=60.0, camera_heading=0.0, camera_pitch=noise - 45.0)]
    )
    rough = find_look_points(FRAME, xy, fixes, np.r_[0.0, np.ones(COUNT - 1)])
    smooth = find_look_points(FRAME, xy, fixes, np.r_[0.0, np.full(COUNT - 1, 0.1)])
    assert smooth.xy[:, 1].std() < 0.6 * rough.xy[:, 1].std()


@pytest.mark.parametrize(
    ("side", "is_counter_clockwise", "radius"),
    [("left", True, 60.0), ("right", True, 140.0), ("left", False, 140.0), ("right", False, 60.0)],
)
def test_a_ring_moves_to_the_side_the_camera_saw(side: str, is_counter_clockwise: bool, radius: float) -> None:
    """Flown counter-clockwise the left is inside; the area of a disc is pi r squared, within the chord error."""
    turn = np.linspace(0.0, 2 * np.pi, 720, endpoint=False)
    ring = 100.0 * np.column_stack([np.cos(turn), np.sin(turn)])
    ring = ring if is_counter_clockwise else ring[::-1]
    (moved,) = offset_ring(ring, 40.0, side=side, is_counter_clockwise=is_counter_clockwise)  # type: ignore[arg-type]
    assert moved.area == pytest.approx(math.pi * radius**2, rel=2e-3)


def test_a_ring_narrower_than_twice_the_offset_leaves_nothing() -> None:
    """Where the stated offset eats the whole ring there is no area, and no made-up one."""
    ring = np.array([[0.0, 0.0], [30.0, 0.0], [30.0, 30.0], [0.0, 30.0]])
    assert offset_ring(ring, 40.0, side="left", is_counter_clockwise=True) == []
