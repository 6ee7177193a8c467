"""What a log is that holds no ring: too few fixes, a hover, a way, lanes of a survey, or an edge flown in part."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from exchange.geo.frame import LocalFrame
from exchange.perimeter.finding import Finding, to_places
from exchange.perimeter.plain_way import is_plain_way

Floats = NDArray[np.float64]

TOO_FEW_FIXES: Final = "too-few-fixes"
HOVER_ONLY: Final = "hover-only"
TRANSIT_ONLY: Final = "transit-only"
SURVEY_LANES: Final = "survey-lanes"
HALF_RING: Final = "half-ring"
MISSING_FLIGHT: Final = "missing-flight"

LEAST_LOGGED_FIXES: Final = 16
"""A ring of fewer logged fixes is a guess at its corners; a drawn line may have as few as it likes."""

HOVER_RADIUS_M: Final = 12.0
NARROWEST_WIDTH_M: Final = 6.0
NARROWEST_SHARE: Final = 0.01
"""A path is a way there and back where it is narrower than both: metres, and a share of how long it is."""

CORNER_M: Final = 4.0
"""What bends less than this is one straight leg; several times the noise of a receiver."""

STRAIGHT_SHARES: Final = (0.0, 0.005, 0.01)
"""What bends less than one of these shares of the whole is one straight leg of a survey by larger aircraft."""

LEAST_LANES: Final = 4
LANES_SHARE: Final = 0.6
PARALLEL_DEGREES: Final = 8.0
_DIRECTIONS: Final = 40


def find_impossible(frame: LocalFrame, paths: Sequence[Floats], fixes: int, *, is_logged: bool) -> Finding | None:
    """Return why no ring can be in the paths, whatever way they are joined; ``None`` where one may be.

    Parameters
    ----------
    frame
        The metres of the paths.
    paths
        One a flight, shape (n, 2), cleaned, hovers drawn together.
    fixes
        How many fixes were left after cleaning.
    is_logged
        Whether the fixes have times; else it is a drawn line.
    """
    if not paths or (is_logged and fixes < LEAST_LOGGED_FIXES):
        return _tell(
            frame, TOO_FEW_FIXES, f"There are {fixes} usable fixes, too few to tell an edge by. "
            "Fly the edge again with the log running, at one fix a second or more.", np.empty((0, 2)), fixes=fixes,
        )  # fmt: skip
    together = np.vstack(paths)
    middle = np.median(together, axis=0)
    radius = float(np.quantile(np.hypot(*(together - middle).T), 0.95))
    if radius < HOVER_RADIUS_M:
        return _tell(
            frame, HOVER_ONLY, f"The aircraft stayed within {radius:.0f} m of one place. "
            "Fly along the edge until you are back where you met it.", middle[None], radius_m=radius,
        )  # fmt: skip
    lanes = [count_lanes(path) for path in paths]
    if max(lanes) >= LEAST_LANES:
        return _tell(
            frame, SURVEY_LANES, f"The log holds {max(lanes)} parallel lanes of a survey, which follow no edge. "
            "Give the log of the flight along the edge.", paths[int(np.argmax(lanes))][[0, -1]], lanes=max(lanes),
        )  # fmt: skip
    width, length = measure_strip(together)
    if width < max(NARROWEST_WIDTH_M, NARROWEST_SHARE * length):
        return _tell(
            frame, TRANSIT_ONLY, f"The flown line is nowhere wider than {width:.0f} m: a way, no ring. "
            "Fly along the whole edge.", paths[0][[0, -1]], width_m=width, length_m=length,
        )  # fmt: skip
    if is_logged and all(map(is_plain_way, paths)):
        return _tell(
            frame, TRANSIT_ONLY, f"The flown line is a way of {length:.0f} m in a few straight pieces, and follows no "
            "edge. Fly along the whole edge.", paths[0][[0, -1]], length_m=length,
        )  # fmt: skip
    return None


def explain_open(frame: LocalFrame, gaps: Sequence[Floats], flown_m: float, *, flights: int) -> Finding:
    """Return what is missing of a ring that does not close.

    Parameters
    ----------
    frame
        The metres of the gaps.
    gaps
        The open ends, each of shape (2, 2): from where the edge was left to where it begins again.
    flown_m
        Metres of the edge that were flown.
    flights
        How many flights it was flown by.
    """
    widths = [float(np.hypot(*(gap[1] - gap[0]))) for gap in gaps]
    widest = max(widths, default=0.0)
    is_flight = flights > 1
    missing = "A flight along the edge seems to be missing" if is_flight else "The edge is flown in part only"
    words = (
        f"{missing}: {flown_m:.0f} m are flown, and between the open ends lie {widest:.0f} m in a straight line. "
        "Fly from the one open end along the edge to the other, and give that log as well."
    )
    places = np.vstack([np.empty((0, 2)), *gaps])
    code = MISSING_FLIGHT if is_flight else HALF_RING
    return _tell(frame, code, words, places, flown_m=flown_m, widest_gap_m=widest, gaps=len(widths))


def count_lanes(path: Floats) -> int:
    """Return how many parallel lanes side by side make up most of a path; 0 where they do not.

    A lane is straight, goes back where the last one came, and lies beside all others: laps of a narrow ring go back
    and forth as well, but lie on each other. Lanes of many kilometres are straight as far as their length goes.
    """
    size = float(np.hypot(*np.ptp(path, axis=0))) if len(path) else 0.0
    return max(_count_lanes(path, straight_within_m=max(CORNER_M, share * size)) for share in STRAIGHT_SHARES)


def _count_lanes(path: Floats, *, straight_within_m: float) -> int:
    corners = _find_corners(path, straight_within_m)
    legs = np.diff(corners, axis=0)
    length = np.hypot(legs[:, 0], legs[:, 1])
    if not len(legs) or length.max() < 4 * straight_within_m:
        return 0
    main = _main_direction(legs, length)
    along = legs @ main
    is_parallel = np.abs(along) > np.cos(np.radians(PARALLEL_DEGREES)) * length
    is_lane = is_parallel & (length > 0.4 * np.quantile(length[is_parallel], 0.9))
    lanes = np.flatnonzero(is_lane)
    flown = length[lanes[0] : lanes[-1] + 1].sum()
    if len(lanes) < LEAST_LANES or length[lanes].sum() < LANES_SHARE * flown or flown < LANES_SHARE * length.sum():
        return 0
    turns = np.mean(np.diff(np.sign(along[lanes])) != 0)
    across = ((corners[:-1] + corners[1:]) / 2)[lanes] @ np.array([-main[1], main[0]])
    apart = int(1 + (np.diff(np.sort(across)) > straight_within_m).sum())
    return apart if turns > 0.8 and apart >= LEAST_LANES and apart > 0.7 * len(lanes) else 0


def _main_direction(legs: Floats, length: Floats) -> Floats:
    """Return the unit vector of the leg to which the greatest length of legs is parallel."""
    longest = np.argsort(-length)[:_DIRECTIONS]
    units = legs / np.maximum(length, 1e-9)[:, None]
    parallel = np.abs(units @ units[longest].T) > np.cos(np.radians(PARALLEL_DEGREES))
    return np.asarray(units[longest[int((parallel * length[:, None]).sum(axis=0).argmax())]])


def measure_strip(path: Floats) -> tuple[float, float]:
    """Return the width and the length of the narrowest strip that holds a path, metres."""
    import shapely

    strip = shapely.MultiPoint(path).minimum_rotated_rectangle
    if strip.geom_type != "Polygon":
        return 0.0, float(strip.length)
    sides = np.hypot(*np.diff(shapely.get_coordinates(strip), axis=0).T)
    return float(sides[:2].min()), float(sides[:2].max())


def _find_corners(path: Floats, within_m: float) -> Floats:
    import shapely

    line = shapely.simplify(shapely.LineString(path), within_m, preserve_topology=False)
    return np.asarray(shapely.get_coordinates(line))


def _tell(frame: LocalFrame, code: str, words: str, places: Floats, **figures: float) -> Finding:
    return Finding(code=code, words=words, places=to_places(frame, places), figures=figures)
