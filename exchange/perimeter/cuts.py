"""The places where a flight may change from a way to an edge: corners, and where it meets what it flew before."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from exchange.perimeter.legs import find_leg
from exchange.perimeter.meetings import Meetings, find_meetings
from exchange.perimeter.paths import Path

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]

ARM_M: Final = 15.0
"""A turn is seen over so many metres before and after a place; cuts lie no nearer to each other."""

_MOST_CUTS, _MOST_JUNCTIONS, _MOST_BESIDE = 64, 20, 24
_CORNER_DEGREES, _CORNERS_APART_M = 35.0, 20.0


@dataclass(frozen=True, eq=False)
class CutPath:
    """Hold a flight's path with what tells its ways from its edges.

    Attributes
    ----------
    path
        The flight.
    launches
        What speaks for a launch at its start and its end.
    cuts
        Where it may change, rising; the first and the last place among them.
    turn, corners
        Radians by which it turns at each place, and the places where it turns most.
    meetings
        Where it meets itself.
    """

    path: Path
    launches: tuple[float, float]
    cuts: Whole
    turn: Floats
    corners: Whole
    meetings: Meetings

    def steps(self, metres: float) -> int:
        """Return how many steps so many metres are, one at least."""
        return max(1, round(metres / self.path.step_m))

    def corners_over(self, degrees: float) -> Whole:
        """Return the places of the sharper corners."""
        return np.asarray(self.corners[self.turn[self.corners] > np.radians(degrees)])


def cut_path(path: Path, launches: tuple[float, float], beside: Whole) -> CutPath:
    """Return a path with the places where it may change from a way to an edge.

    Parameters
    ----------
    path
        The flight.
    launches
        What speaks for a launch at its start and its end (`exchange.perimeter.legs.find_launches`).
    beside
        Places where it meets or leaves another flight, the most telling first.
    """
    meetings = find_meetings(path.even, path.step_m)
    turn = _turns(path.even, path.step_m)
    corners = _peaks(turn, np.radians(_CORNER_DEGREES), max(1, round(_CORNERS_APART_M / path.step_m)))
    cuts = _choose_cuts(path, meetings.junctions, beside, corners, turn)
    return CutPath(path, launches, cuts, turn, corners, meetings)


def _choose_cuts(path: Path, junctions: Whole, beside: Whole, corners: Whole, turn: Floats) -> Whole:
    """Return the most telling places, none near another; a corner stands for all that lies near it."""
    last = len(path.even) - 1
    legs = find_leg(path.even, path.speed).end, last - find_leg(path.even[::-1], path.speed[::-1]).end
    met = junctions[np.argsort(junctions[:, 0] - junctions[:, 1], kind="stable")][:_MOST_JUNCTIONS].ravel()
    sharpest = corners[np.argsort(-turn[corners], kind="stable")]
    chosen: list[int] = []
    for place in [0, last, *legs, *met.tolist(), *beside[:_MOST_BESIDE].tolist(), *sharpest.tolist()]:
        near = corners[np.abs(corners - place) * path.step_m <= ARM_M]
        cut = int(near[np.argmax(turn[near])]) if len(near) and 0 < place < last else place
        if all(abs(cut - other) * path.step_m >= ARM_M for other in chosen):
            chosen.append(cut)
        if len(chosen) >= _MOST_CUTS:
            break
    return np.array(sorted(chosen), dtype=np.int64)


def _turns(xy: Floats, step_m: float) -> Floats:
    arm = max(1, round(ARM_M / step_m))
    rows = np.arange(len(xy))
    into, out = xy - xy[np.maximum(rows - arm, 0)], xy[np.minimum(rows + arm, len(xy) - 1)] - xy
    turn = np.abs(np.arctan2(into[:, 0] * out[:, 1] - into[:, 1] * out[:, 0], (into * out).sum(axis=1)))
    turn[:2], turn[-2:] = 0.0, 0.0
    return np.asarray(turn)


def _peaks(values: Floats, least: float, reach: int) -> Whole:
    from scipy.ndimage import maximum_filter1d

    return np.flatnonzero((values >= maximum_filter1d(values, 2 * reach + 1)) & (values > least))
