"""A corner of the ring at the place where a flight began or ended: the mark of a way that was taken for edge."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from exchange.geo.frame import LocalFrame
from exchange.perimeter.finding import Finding, to_places
from exchange.perimeter.shapes import measure_along, places_at

Floats = NDArray[np.float64]

LAUNCH_CORNER: Final = "launch-in-ring"
NEAR_M: Final = 12.0
ARM_M: Final = 30.0
SHARPEST_DEGREES: Final = 100.0


def judge_launch_corner(frame: LocalFrame, rings: Sequence[Floats], ends: Floats) -> list[Finding]:
    """Return a flag where a ring turns back sharply at the first or last place of a flight.

    An aircraft that takes off beside the edge and follows it makes no such corner; ways to and from a launch do.

    Parameters
    ----------
    frame
        The metres of the rings.
    rings
        Of shape (n, 2), not closed.
    ends
        First and last places of the flights, shape (m, 2).
    """
    corners = [end for ring in rings for end in ends if _corner_degrees(ring, end) < SHARPEST_DEGREES]
    if not corners:
        return []
    places = to_places(frame, np.array(corners))
    words = (
        "The ring turns back sharply at the place where a flight began or ended: a way from the launch may have been "
        "taken for edge. Look at the picture; fly the edge there again if it is so."
    )
    return [Finding(code=LAUNCH_CORNER, words=words, places=places, figures={"corners": float(len(corners))})]


def _corner_degrees(ring: Floats, place: Floats) -> float:
    """Return the angle between the two arms of a ring at its nearest place to another; 180 where none is near."""
    closed = np.vstack([ring, ring[:1]])
    along = measure_along(closed)
    even = places_at(closed, along, np.arange(0.0, along[-1], 2.0))
    distance = np.hypot(*(even - place).T)
    nearest = int(distance.argmin())
    if distance[nearest] > NEAR_M or along[-1] < 6 * ARM_M:
        return 180.0
    # The corner itself may lie a few steps from the place that is nearest to the end of the flight.
    around = (nearest + np.arange(-6, 7)) % len(even)
    arm = round(ARM_M / 2.0)
    before, after = even[(around - arm) % len(even)] - even[around], even[(around + arm) % len(even)] - even[around]
    cosine = (before * after).sum(axis=1) / np.maximum(np.hypot(*before.T) * np.hypot(*after.T), 1e-9)
    return float(np.degrees(np.arccos(np.clip(cosine, -1.0, 1.0))).min())
