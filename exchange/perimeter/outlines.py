"""From rings as flown to the area they enclose: filled, sorted, averaged over passes, moved to the side of the edge."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

from exchange.perimeter.aiming import Aim
from exchange.perimeter.camera import offset_ring
from exchange.perimeter.faces import fill_path
from exchange.perimeter.laps import average_passes
from exchange.perimeter.pieces import sort_pieces
from exchange.perimeter.rings import FoundRing
from exchange.perimeter.shapes import is_small_circle
from exchange.perimeter.strands import Strand

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

Floats = NDArray[np.float64]

_PASS_WITHIN_M: Final = 12.0
_ROUNDS: Final = 2


@dataclass(frozen=True, eq=False)
class Outline:
    """Hold the area that rings enclose.

    Attributes
    ----------
    area
        Polygon or multipolygon in metres; empty where nothing is enclosed.
    rings
        Its rings before they were moved to the side of the edge, metres, not closed.
    laps
        The most passes that a stretch was averaged of.
    scatter_m
        Standard deviation of one pass across the ring; NaN where none was flown twice.
    left_out
        How many pieces were too small to tell from a loop.
    """

    area: BaseGeometry
    rings: tuple[Floats, ...]
    laps: int
    scatter_m: float
    left_out: int


@dataclass(frozen=True, eq=False)
class Passes:
    """Hold all that was flown along edges, metres in even steps: places, unit vectors as flown, and the step."""

    places: Floats
    headings: Floats
    step_m: float


def gather_passes(strands: Sequence[Strand]) -> Passes:
    """Return the places of all flights but those on legs and on loops flown to look again."""
    places, headings = [np.empty((0, 2))], [np.empty((0, 2))]
    for strand in strands:
        is_edge = ~strand.is_leg()
        for loop in strand.loops:
            if is_small_circle(strand.path.even[loop.places]):
                is_edge[loop.places[1:]] = False
        places.append(strand.path.even[is_edge])
        headings.append(strand.path.headings()[is_edge])
    step = max((strand.path.step_m for strand in strands), default=1.0)
    return Passes(np.vstack(places), np.vstack(headings), step)


def draw_outline(rings: Sequence[FoundRing], passes: Passes, aim: Aim, *, within_m: float) -> Outline:
    """Return the area that rings enclose.

    Parameters
    ----------
    rings
        As found.
    passes
        What is averaged, and by whose direction the side of the edge is told.
    aim
        By how much the edge lies beside the ring.
    within_m
        How near is near.
    """
    import shapely

    pieces = sort_pieces([polygon for ring in rings for polygon in fill_path(ring.xy)], within_m=within_m)
    reach = max(_PASS_WITHIN_M, within_m)
    parts = [_average(polygon, passes, reach) for polygon in pieces.parts]
    islands = [_average(polygon, passes, reach) for polygon in pieces.islands]
    every = [*parts, *islands]
    burned = shapely.union_all([area for one in parts for area in _move_aside(one.polygon, passes, aim)])
    unburned = shapely.union_all([area for one in islands for area in _move_aside(one.polygon, passes, aim)])
    scatter = [one.scatter_m for one in every if np.isfinite(one.scatter_m)]
    return Outline(
        _polygons_of(shapely.difference(burned, unburned)),
        tuple(np.asarray(one.polygon.exterior.coords)[:-1] for one in every),
        max((one.laps for one in every), default=0),
        float(np.median(scatter)) if scatter else float("nan"),
        len(pieces.left_out),
    )


@dataclass(frozen=True, eq=False)
class _Averaged:
    polygon: Any
    laps: int
    scatter_m: float


def _average(polygon: Any, passes: Passes, within_m: float) -> _Averaged:
    """Move a polygon's edge to the mean of all passes; it stays as it is where that would break it."""
    import shapely

    # Even steps begin where the ring does, which must not rest on where it was begun to be flown.
    ring = np.asarray(shapely.normalize(polygon).exterior.coords)[:-1]
    laps, scatter = 1, float("nan")
    for _ in range(_ROUNDS):
        averaged = average_passes(ring, passes.places, passes.headings, passes.step_m, within_m=within_m)
        if averaged.ring is ring:
            break
        ring, laps = averaged.ring, max(1, round(float(np.quantile(averaged.passes, 0.98))))
        scatter = averaged.scatter_m
    filled = fill_path(ring)
    return _Averaged(filled[0] if filled else polygon, laps, scatter)


def _move_aside(polygon: Any, passes: Passes, aim: Aim) -> list[Any]:
    if not aim.offset_m:
        return [polygon]
    ring = np.asarray(polygon.exterior.coords)[:-1]
    is_ccw = _is_flown_along(ring, passes) == bool(polygon.exterior.is_ccw)
    return offset_ring(ring, aim.offset_m, side=aim.side, is_counter_clockwise=is_ccw)[:1]


def _is_flown_along(ring: Floats, passes: Passes) -> bool:
    """Tell whether a ring was flown in the direction of its places rather than against it."""
    from scipy.spatial import cKDTree

    distance, nearest = cKDTree(ring).query(passes.places, distance_upper_bound=2 * _PASS_WITHIN_M)
    near = np.flatnonzero(np.isfinite(distance))
    along = np.roll(ring, -1, axis=0) - np.roll(ring, 1, axis=0)
    return bool((passes.headings[near] * along[nearest[near]]).sum() >= 0.0)


def _polygons_of(area: BaseGeometry) -> BaseGeometry:
    """Return the polygons of an area, rings begun at their westernmost place: simplifying keeps that one."""
    import shapely

    parts = [part for part in shapely.get_parts(area) if part.geom_type == "Polygon"]
    return shapely.normalize(shapely.union_all(parts))
