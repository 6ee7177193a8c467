"""How the camera is allowed for: by the log, by a side that the user states, or not at all, which is told."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from exchange.perimeter.camera import (
    LEAST_DEPRESSION_DEGREES,
    STRAIGHT_DOWN_DEGREES,
    find_heights,
    find_look_points,
)
from exchange.perimeter.cleaning import Cleaned
from exchange.perimeter.finding import Finding
from exchange.perimeter.options import EdgeSide, TraceOptions

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

SIDE_UNKNOWN: Final = "side-unknown"
ANGLE_UNKNOWN: Final = "angle-unknown"
HEIGHT_UNKNOWN: Final = "height-unknown"
_USUAL_SHARE: Final = 0.3
_LEAST_ANGLE_DEGREES: Final = 90.0 - STRAIGHT_DOWN_DEGREES


@dataclass(frozen=True, eq=False)
class Aim:
    """Hold where the edge is looked for.

    Attributes
    ----------
    xy
        Metres, one row a kept fix: the fix, or the place where its camera looked.
    is_used
        Which fixes saw the edge; where the camera looks along the line of flight it does not.
    moved
        How many fixes were moved to where the camera looked, and by how much in the middle.
    moved_m
        The median distance they were moved by.
    offset_m, side
        By how much the ring is to be moved, and to which side of the flight; 0 is not at all.
    unknown_m
        By how much the edge may lie beside the flown line since nothing says where the camera looked.
    flags
        What a person must state or look at.
    """

    xy: Floats
    is_used: Flags
    moved: int = 0
    moved_m: float = 0.0
    offset_m: float = 0.0
    side: EdgeSide = ""
    unknown_m: float = 0.0
    flags: tuple[Finding, ...] = ()


def aim_camera(cleaned: Cleaned, options: TraceOptions) -> Aim:
    """Return where the edge is looked for: what the log says of the camera comes first, then what the user states."""
    sight = find_look_points(
        cleaned.frame, cleaned.xy, cleaned.fixes, cleaned.interval_seconds,
        elevation=options.elevation, height_m=options.height_m,
    )  # fmt: skip
    if sight.is_sideways.mean() > _USUAL_SHARE:
        reach = float(np.median(sight.reach_m[sight.is_sideways]))
        return Aim(sight.xy, sight.is_sideways, int(sight.is_moved.sum()), reach)
    every = np.ones(len(cleaned.xy), np.bool_)
    return _aim_by_statement(cleaned, options, every)


def _aim_by_statement(cleaned: Cleaned, options: TraceOptions, every: Flags) -> Aim:
    """Return the offset of a whole ring, from the angle and the side that are stated or half stated."""
    heights = find_heights(cleaned.fixes, options.height_m)
    known = heights[np.isfinite(heights) & (heights > 0.0)]
    height = float(np.median(known)) if len(known) else math.nan
    logged = _logged_angle_degrees(cleaned.fixes.camera_pitch)
    angle = options.camera_angle_degrees if math.isfinite(options.camera_angle_degrees) else logged
    offset = height * math.tan(math.radians(angle))
    if options.edge_side:
        if math.isnan(angle):
            return Aim(cleaned.xy, every, unknown_m=_or_zero(height), flags=(_tell_angle(),))
        if math.isnan(height):
            return Aim(cleaned.xy, every, flags=(_tell_height(),))
        return Aim(cleaned.xy, every, offset_m=offset, side=options.edge_side)
    if math.isnan(angle):
        return Aim(cleaned.xy, every, unknown_m=_or_zero(height))
    if angle <= _LEAST_ANGLE_DEGREES:
        return Aim(cleaned.xy, every)
    return Aim(cleaned.xy, every, unknown_m=_or_zero(offset), flags=(_tell_side(angle, offset),))


def _logged_angle_degrees(pitch: Floats) -> float:
    """Return the usual angle of the camera from the vertical; NaN where the log says it of less than most fixes."""
    with np.errstate(invalid="ignore"):
        depression = -pitch[(pitch <= -LEAST_DEPRESSION_DEGREES) & (pitch >= -90.0)]
    return 90.0 - float(np.median(depression)) if len(depression) > 0.5 * len(pitch) else math.nan


def _or_zero(value: float) -> float:
    return value if math.isfinite(value) else 0.0


def _tell_side(angle: float, offset: float) -> Finding:
    off = f", which may be off by {offset:.0f} m" if math.isfinite(offset) else ""
    return Finding(
        code=SIDE_UNKNOWN,
        words=f"The camera looked {angle:.0f} degrees aside of the vertical, but nothing says to which side: the "
        f"flown line is taken as the edge{off}. State the side on which the edge was seen.",
        figures={"angle_degrees": angle, **({"offset_m": offset} if math.isfinite(offset) else {})},
    )


def _tell_angle() -> Finding:
    return Finding(
        code=ANGLE_UNKNOWN,
        words="The side on which the edge was seen is stated, but nothing says at which angle: the flown line is taken "
        "as the edge. State the angle of the camera from the vertical.",
    )


def _tell_height() -> Finding:
    return Finding(
        code=HEIGHT_UNKNOWN,
        words="Side and angle of the camera are known, but not the height: the flown line is taken as the edge. State "
        "the height above the ground.",
    )
