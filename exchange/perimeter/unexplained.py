"""What was flown that the perimeter does not account for: the last look at a ring before anybody trusts it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from exchange.perimeter.finding import Finding, to_places

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from exchange.geo.frame import LocalFrame

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

UNEXPLAINED: Final = "unexplained-track"
LARGEST_AREA_SHARE: Final = 0.15
LARGEST_LENGTH_SHARE: Final = 0.15
EXPLAINED_WITHIN_M: Final = 12.0
"""An edge explains what was flown this near to it: a few times the noise of a receiver, and the width of a lap."""

WAY_DETOUR: Final = 1.12
"""A way is no longer than this many times the straight lines by its farthest place."""

CLOSES_SHARE: Final = 0.1
"""Ends nearer than this share of a line's length close a ring that does not cross itself."""


def judge_unexplained(
    frame: LocalFrame,
    rings: Sequence[Floats],
    paths: Sequence[Floats],
    legs: Sequence[Flags],
    *,
    within_m: float,
) -> list[Finding]:
    """Return a flag where the flown line went around what is no part of the area, or along what is no edge of it.

    Parameters
    ----------
    frame
        The metres of the rings and the paths.
    rings
        The rings found, as they were flown, each of shape (n, 2), not closed.
    paths
        Flown lines in even steps, each of shape (n, 2).
    legs
        Which of their places were taken for ways to and from the edge.
    within_m
        How near a place must be to an edge to be explained by it.
    """
    import shapely

    areas = [shapely.Polygon(ring).buffer(0) for ring in rings]
    area, edge = shapely.union_all(areas), shapely.union_all([shapely.boundary(one) for one in areas])
    left_out = measure_left_out(area, paths, within_m=within_m)
    away = [path[~is_leg] for path, is_leg in zip(paths, legs, strict=True)]
    length = measure_away(edge, away, within_m=within_m)
    if left_out.area <= LARGEST_AREA_SHARE * area.area and length <= LARGEST_LENGTH_SHARE * edge.length:
        return []
    middle = left_out.representative_point() if left_out.area > 0 else area.representative_point()
    words = (
        f"The flown line also goes around {left_out.area / 1e4:.1f} ha outside of the perimeter, and {length:.0f} m "
        "of it follow no edge. Look at the picture: the wrong ring may have been taken."
    )
    figures = {"left_out_m2": float(left_out.area), "away_m": length, "edge_m": float(edge.length)}
    places = to_places(frame, np.array([[middle.x, middle.y]]))
    return [Finding(code=UNEXPLAINED, words=words, places=places, figures=figures)]


def measure_left_out(area: BaseGeometry, paths: Sequence[Floats], *, within_m: float) -> BaseGeometry:
    """Return what the flown lines enclose outside of the area, without slivers along its edge.

    What was flown inside the area or close to its edge, nearly all of it, is not noded: the edge stands for it.
    """
    import shapely

    filled = _fill(area)
    known = _fill(filled.buffer(within_m / 2))
    shapely.prepare(known)
    runs = [run for path in paths if len(path) > 1 for run in _runs_outside(known, _close(path))]
    if not runs:
        return shapely.Polygon()
    lines = [shapely.LineString(run).simplify(within_m / 4, preserve_topology=False) for run in runs]
    noded = shapely.union_all([known.boundary, *lines])
    enclosed = shapely.union_all([known, *shapely.get_parts(shapely.polygonize([noded]))])
    return enclosed.difference(filled).buffer(-within_m).buffer(within_m)


def measure_away(edge: BaseGeometry, paths: Sequence[Floats], *, within_m: float) -> float:
    """Return how many metres of the flown lines lie away from the edge and are no plain way to somewhere and back."""
    import shapely

    # A prepared zone answers for many places at once; the distance to a long edge does not.
    zone = shapely.buffer(edge, within_m)
    shapely.prepare(zone)
    away = 0.0
    for path in paths:
        is_away = ~shapely.contains_xy(zone, path[:, 0], path[:, 1])
        cuts = np.flatnonzero(np.diff(is_away)) + 1
        runs = np.split(np.arange(len(path)), cuts)
        away += sum(_measure_unless_way(path[run]) for run in runs if len(run) > 1 and is_away[run[0]])
    return away


def _measure_unless_way(run: Floats) -> float:
    """Return the length of a stretch; 0 where it leads to its farthest place and from there to its end."""
    length = float(np.hypot(*np.diff(run, axis=0).T).sum())
    reach = np.hypot(*(run - run[0]).T) + np.hypot(*(run - run[-1]).T)
    return 0.0 if length <= WAY_DETOUR * float(reach.max()) else length


def _fill(area: BaseGeometry) -> BaseGeometry:
    """Return an area without its holes."""
    import shapely

    return shapely.union_all([shapely.Polygon(part.exterior) for part in shapely.get_parts(area)])


def _runs_outside(known: BaseGeometry, path: Floats) -> list[Floats]:
    """Return the stretches of a path that lie outside of an area, each from its last place inside to the next."""
    import shapely

    is_outside = np.r_[False, ~shapely.contains_xy(known, path[:, 0], path[:, 1]), False]
    edges = np.flatnonzero(np.diff(is_outside))
    return [path[max(first - 1, 0) : last + 1] for first, last in edges.reshape(-1, 2)]


def _close(path: Floats) -> Floats:
    """Return a flown line, closed where its ends come near each other."""
    gap = float(np.hypot(*(path[-1] - path[0])))
    length = float(np.hypot(*np.diff(path, axis=0).T).sum())
    return np.vstack([path, path[:1]]) if gap < CLOSES_SHARE * length else path
