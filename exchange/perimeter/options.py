"""What the user may state about a trace."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from exchange.errors import OptionError

Floats = NDArray[np.float64]
Elevation = Callable[[Floats, Floats], Floats]
EdgeSide = Literal["", "left", "right"]


@dataclass(frozen=True, kw_only=True)
class TraceOptions:
    """Hold the options of a trace; each has a default that fits a camera looking straight down.

    Attributes
    ----------
    edge_side
        On which side of the aircraft, looking along its flight, the camera saw the edge: ``left``, ``right`` or
        empty for straight below.
    camera_angle_degrees
        Angle of the line of sight from the vertical, in [0, 85]; NaN is not stated.
    height_m
        Height above the ground, for logs that do not hold it; NaN is not stated.
    elevation
        Elevation model: a function of longitudes and latitudes in degrees that returns metres above sea level.
    simplify_m
        Greatest distance between the flown ring and the simplified one, metres.
    max_vertices
        Greatest number of vertices of the whole geometry; ``None`` is no limit.
    allow_open
        Close an open ring by an invented line, and mark it, where a ring would be refused.
    max_bridged_share
        Share of the ring that may be bridged without a flag.
    """

    edge_side: EdgeSide = ""
    camera_angle_degrees: float = math.nan
    height_m: float = math.nan
    elevation: Elevation | None = None
    simplify_m: float = 0.3
    max_vertices: int | None = None
    allow_open: bool = False
    max_bridged_share: float = 0.05

    def __post_init__(self) -> None:
        """Check every option by itself.

        Raises
        ------
        OptionError
            When a value is outside of what it may be.
        """
        _require(self.edge_side in ("", "left", "right"), "edge_side", self.edge_side, "left, right or empty")
        angle = self.camera_angle_degrees
        _require(math.isnan(angle) or 0.0 <= angle <= 85.0, "camera_angle_degrees", angle, "0 to 85 from the vertical")
        _require(
            math.isnan(self.height_m) or 0.0 < self.height_m < math.inf, "height_m", self.height_m, "above zero metres"
        )
        _require(0.0 <= self.simplify_m < math.inf, "simplify_m", self.simplify_m, "zero metres or more")
        _require(self.max_vertices is None or self.max_vertices >= 4, "max_vertices", self.max_vertices, "4 or more")
        _require(0.0 <= self.max_bridged_share <= 1.0, "max_bridged_share", self.max_bridged_share, "0 to 1")


def _require(is_fit: bool, name: str, value: object, allowed: str) -> None:
    if not is_fit:
        raise OptionError(f"{value!r} is no fit value", field=name, remedy=f"Give {allowed}.")
