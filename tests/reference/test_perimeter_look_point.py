"""Hold where the camera looked against trigonometry: flat ground, and a slope that has a solution in closed form."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from numpy.typing import NDArray

from exchange.model import Track
from exchange.perimeter import TraceOptions, trace_perimeter
from tests.perimeter.simulator.place import Place
from tests.perimeter.simulator.scoring import farthest_m

Floats = NDArray[np.float64]
PLACE = Place(-114.0, 44.5)
RADIUS, COUNT = 300.0, 700
TURN = np.linspace(0.0, 2 * np.pi, COUNT)
FLOWN = RADIUS * np.column_stack([np.cos(TURN), np.sin(TURN)])
INWARD = np.degrees(np.arctan2(-FLOWN[:, 0], -FLOWN[:, 1])) % 360.0
# The ring is thinned to about a metre and simplified by 0.3 m; what is nearer is as good as equal.
NEAR_M = 1.0


def area(track: Track, **options: object) -> shapely.Geometry:
    """Return what a track gives, in metres about the place."""
    traced = trace_perimeter([track], options=TraceOptions(**options))
    assert traced.perimeter is not None
    return PLACE.area_to_metres(traced.perimeter.geometry)


def circle(**columns: object) -> Track:
    """Make a circle flown counter-clockwise."""
    longitude, latitude = PLACE.to_degrees(FLOWN)
    begin = np.datetime64("2026-08-13T12:00:00", "ms")
    time = begin + (np.arange(COUNT) * 500).astype("timedelta64[ms]")
    return Track(longitude=longitude, latitude=latitude, time=time, **columns)


def disc(radius: float) -> shapely.Geometry:
    """Return a disc about the place."""
    return shapely.Polygon(radius * np.column_stack([np.cos(TURN), np.sin(TURN)]))


@pytest.mark.parametrize(("depression", "heights"), [(45.0, 1.0), (30.0, math.sqrt(3.0)), (60.0, 1 / math.sqrt(3.0))])
def test_the_edge_lies_height_over_tangent_of_the_depression_away(depression: float, heights: float) -> None:
    """From 50 m, 45° below the horizon looks one height away, 30° 1.732 heights, 60° 0.577 (trigonometry)."""
    pitch = np.full(COUNT, -depression)
    track = circle(height=np.full(COUNT, 50.0), height_reference="ground", camera_heading=INWARD, camera_pitch=pitch)
    assert farthest_m(area(track), disc(RADIUS - heights * 50.0)) < NEAR_M


def test_outward_looks_the_other_way() -> None:
    """The same camera turned about puts the edge one height outside of the flown line."""
    track = circle(
        height=np.full(COUNT, 50.0),
        height_reference="ground",
        camera_heading=(INWARD + 180.0) % 360.0,
        camera_pitch=np.full(COUNT, -45.0),
    )
    assert farthest_m(area(track), disc(RADIUS + 50.0)) < NEAR_M


@pytest.mark.parametrize(("side", "radius"), [("left", RADIUS - 40.0), ("right", RADIUS + 40.0)])
def test_a_side_and_45_degrees_is_one_height(side: str, radius: float) -> None:
    """Counter-clockwise the left is inside: at 45° from the vertical the edge lies one height to the stated side."""
    found = area(circle(), edge_side=side, camera_angle_degrees=45.0, height_m=40.0)
    assert farthest_m(found, disc(radius)) < NEAR_M


@pytest.mark.parametrize("slope", [0.0, 0.1, 0.3])
def test_on_a_slope_the_line_of_sight_meets_the_ground_where_algebra_says(slope: float) -> None:
    """On ground that rises ``slope`` metres a metre eastward the look point has a closed form.

    From (x, y) at altitude A, down by the angle d towards the unit vector (u, v): A - t tan d = G + slope (x + t u), so
    t = (A - G - slope x) / (tan d + slope u), and the edge is at (x + t u, y + t v).
    """
    ground_m, altitude_m, depression = 1800.0, 1950.0, math.radians(50.0)
    aim = -FLOWN / RADIUS
    reach = (altitude_m - ground_m - slope * FLOWN[:, 0]) / (math.tan(depression) + slope * aim[:, 0])
    expected = shapely.Polygon(FLOWN + reach[:, None] * aim)

    def elevation(longitude: Floats, latitude: Floats) -> Floats:
        return ground_m + slope * PLACE.to_metres(np.column_stack([longitude, latitude]))[:, 0]

    track = circle(
        altitude=np.full(COUNT, altitude_m),
        camera_heading=INWARD,
        camera_pitch=np.full(COUNT, -math.degrees(depression)),
    )
    assert farthest_m(area(track, elevation=elevation), expected) < NEAR_M
