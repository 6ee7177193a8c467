"""Where the camera looked: the place on the ground that the line of sight of each fix meets."""

from __future__ import annotations

from typing import Any, Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from exchange.geo.frame import LocalFrame
from exchange.perimeter.fixes import Fixes
from exchange.perimeter.options import EdgeSide, Elevation

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

LEAST_DEPRESSION_DEGREES: Final = 10.0
"""Below it a degree of pitch moves the look point by more than half the height: such a fix is not moved."""

STRAIGHT_DOWN_DEGREES: Final = 88.0
SIDEWAYS_DEGREES: Final = 30.0
"""A camera that looks within this angle of the course ahead or behind looks along the line, not beside it."""

SMOOTHED_SECONDS: Final = 1.0
_STEPS: Final = 48
_HALVINGS: Final = 24
_CHUNK: Final = 65_536


class Sight(NamedTuple):
    """Hold where each fix's camera looked, one row a fix.

    Parameters
    ----------
    xy
        Metres, shape (n, 2): the look point; the fix itself where the log does not tell or the camera looks down.
    is_moved
        Whether the look point is another place than the fix.
    is_sideways
        Whether the camera looked to the side of the course; legs are where it does not.
    reach_m
        From the place below the fix to the look point.
    """

    xy: Floats
    is_moved: Flags
    is_sideways: Flags
    reach_m: Floats


def find_look_points(
    frame: LocalFrame,
    xy: Floats,
    fixes: Fixes,
    interval_seconds: Floats,
    *,
    elevation: Elevation | None = None,
    height_m: float = float("nan"),
) -> Sight:
    """Return where the line of sight of every fix meets the ground.

    On flat ground at the height of the launch that is height / tan(depression) along the camera's heading. With an
    elevation model the line of sight is followed until it first goes under the ground; where the model ends the
    ground is taken as flat.

    Parameters
    ----------
    frame
        The metres of ``xy``.
    xy
        The fixes, metres, shape (n, 2), track by track in flown order.
    fixes
        Their height, altitude, camera heading and pitch.
    interval_seconds
        From the fix before; 0 at the start of a track.
    elevation
        Metres above mean sea level for longitudes and latitudes.
    height_m
        Above the ground, where the log has none.
    """
    depression = -fixes.camera_pitch
    with np.errstate(invalid="ignore"):
        looks_at_ground = (depression >= LEAST_DEPRESSION_DEGREES) & (depression <= 90.0)
        looks_aside = looks_at_ground & (depression < STRAIGHT_DOWN_DEGREES)
    height, eye = find_heights(fixes, height_m), np.full(len(fixes), np.nan)
    if elevation is not None:
        ground = elevation(fixes.longitude, fixes.latitude)
        eye = _find_eyes(fixes, height, ground)
        height = np.where(np.isfinite(eye - ground), eye - ground, height)
    is_moved = looks_aside & np.isfinite(fixes.camera_heading) & (height > 0.0)
    turn = np.radians(np.where(is_moved, fixes.camera_heading, 0.0))
    aim = np.column_stack([np.sin(turn), np.cos(turn)])
    fall = np.tan(np.radians(np.where(is_moved, depression, 45.0)))
    reach = np.where(is_moved, height / fall, 0.0)
    if elevation is not None and is_moved.any():
        rows = np.flatnonzero(is_moved)
        met = _follow_sight(frame, xy[rows], aim[rows], fall[rows], eye[rows], elevation)
        reach[rows] = np.where(np.isfinite(met), met, reach[rows])
    moved_by = _smooth(aim * reach[:, None], fixes.track, interval_seconds)
    is_sideways = is_moved & (_angle_to_course(xy, aim, fixes.track) > SIDEWAYS_DEGREES)
    return Sight(xy + np.where(is_moved[:, None], moved_by, 0.0), is_moved, is_sideways, reach)


def find_heights(fixes: Fixes, height_m: float = float("nan")) -> Floats:
    """Return each fix's height in metres: as logged, else as stated, else its altitude above that of its launch."""
    height = np.where(np.isfinite(fixes.height), fixes.height, height_m)
    return np.where(np.isfinite(height), height, fixes.altitude - _of_launch(fixes.altitude, fixes.track))


def offset_ring(ring: Floats, offset_m: float, *, side: EdgeSide, is_counter_clockwise: bool) -> list[Any]:
    """Return the areas that a ring encloses once it is moved to the side on which the camera saw the edge.

    Parameters
    ----------
    ring
        The flown line, metres, shape (n, 2), not closed.
    offset_m
        Sideways distance from the flown line to the edge.
    side
        Of the aircraft, looking along its flight.
    is_counter_clockwise
        Whether it was flown so: then the left is the inside.

    Returns
    -------
    list
        Shapely polygons, the largest first; none where the ring is narrower than twice the offset.
    """
    import shapely

    is_inward = (side == "left") == is_counter_clockwise
    moved = shapely.Polygon(ring).buffer(-offset_m if is_inward else offset_m, quad_segs=16)
    parts = [part for part in shapely.get_parts(moved) if not part.is_empty]
    return sorted((shapely.Polygon(part.exterior) for part in parts), key=lambda part: -part.area)


def _of_launch(values: Floats, track: NDArray[np.int64]) -> Floats:
    """Return the first known value of each fix's track."""
    launch = np.full(int(track.max(initial=-1)) + 1, np.nan)
    known = np.flatnonzero(np.isfinite(values))[::-1]
    launch[track[known]] = values[known]
    return launch[track]


def _find_eyes(fixes: Fixes, height: Floats, ground: Floats) -> Floats:
    """Return the camera's metres above mean sea level: the altitude, else the ground and the height above it."""
    launch = _of_launch(ground, fixes.track)
    above_ground = height + np.where(fixes.is_above_ground, ground, launch)
    return np.where(np.isfinite(fixes.altitude), fixes.altitude, above_ground)


def _follow_sight(
    frame: LocalFrame, xy: Floats, aim: Floats, fall: Floats, eye: Floats, elevation: Elevation
) -> Floats:
    """Return how far away each line of sight first meets the ground, metres; NaN where the model does not say."""
    reach = np.full(len(xy), np.nan)
    for begin in range(0, len(xy), _CHUNK):
        rows = slice(begin, begin + _CHUNK)
        reach[rows] = _meet_ground(frame, xy[rows], aim[rows], fall[rows], eye[rows], elevation)
    return reach


def _meet_ground(frame: LocalFrame, xy: Floats, aim: Floats, fall: Floats, eye: Floats, elevation: Elevation) -> Floats:
    def clearance(away: Floats) -> Floats:
        places = xy[:, None, :] + aim[:, None, :] * away[:, :, None]
        longitude, latitude = frame.to_degrees(places[..., 0], places[..., 1])
        ground = elevation(longitude.ravel(), latitude.ravel()).reshape(away.shape)
        return eye[:, None] - away * fall[:, None] - ground

    # Down a slope the ground is met later than on the level; four times as far is as steep as the least depression.
    level = np.maximum(clearance(np.zeros((len(xy), 1)))[:, 0], 0.0) / fall
    away = np.linspace(0.0, 4.0, _STEPS + 1)[None, :] * level[:, None]
    is_under = clearance(away) <= 0.0
    first = is_under.argmax(axis=1)
    is_met = is_under.any(axis=1) & (first > 0)
    rows = np.arange(len(xy))
    near, far = away[rows, np.maximum(first - 1, 0)], away[rows, first]
    for _ in range(_HALVINGS):
        middle = (near + far) / 2
        under = clearance(middle[:, None])[:, 0] <= 0.0
        near, far = np.where(under, near, middle), np.where(under, middle, far)
    return np.where(is_met, (near + far) / 2, np.nan)


def _smooth(moved_by: Floats, track: NDArray[np.int64], interval_seconds: Floats) -> Floats:
    """Return the offsets averaged over about a second: the angles of a camera are noisier than its path."""
    from scipy.ndimage import uniform_filter1d

    flown = interval_seconds[interval_seconds > 0.0]
    window = round(SMOOTHED_SECONDS / float(np.median(flown))) if len(flown) else 1
    if window < 2:
        return moved_by
    cuts = np.flatnonzero(np.diff(track)) + 1
    return np.vstack([uniform_filter1d(part, window, axis=0, mode="nearest") for part in np.split(moved_by, cuts)])


def _angle_to_course(xy: Floats, aim: Floats, track: NDArray[np.int64]) -> Floats:
    """Return the angle between the camera's heading and the line of flight, 0 to 90 degrees."""
    if len(xy) < 3:
        return np.zeros(len(xy))
    before = np.maximum(np.arange(len(xy)) - 2, np.searchsorted(track, track))
    after = np.minimum(np.arange(len(xy)) + 2, np.searchsorted(track, track, side="right") - 1)
    course = xy[after] - xy[before]
    length = np.maximum(np.hypot(course[:, 0], course[:, 1]), 1e-9)
    along = np.abs((course * aim).sum(axis=1)) / length
    return np.asarray(np.degrees(np.arccos(np.clip(along, 0.0, 1.0))))
