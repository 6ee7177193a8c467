"""Filled rings sorted into the parts of a perimeter, its unburned islands, and what is no part of it."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from exchange.perimeter.shapes import is_lobe, is_small_circle

if TYPE_CHECKING:
    from shapely import Polygon

_BORDER_SHARE = 0.25


@dataclass(frozen=True)
class Pieces:
    """Hold the sorted rings.

    Attributes
    ----------
    parts, islands
        Polygons without holes.
    left_out
        Rings too small to tell a fire from a look-again loop.
    """

    parts: list[Any] = field(default_factory=list)
    islands: list[Any] = field(default_factory=list)
    left_out: list[Any] = field(default_factory=list)


def sort_pieces(polygons: list[Polygon], *, within_m: float) -> Pieces:
    """Return which rings are parts, islands, or neither.

    A ring inside a part and away from its edge is an island; one that touches the edge is a loop flown to look again,
    or another lap. A ring outside is a part of its own, or belongs to the part that it touches.
    """
    pieces = Pieces()
    for polygon in sorted(polygons, key=lambda polygon: -polygon.area):
        host = next((index for index, part in enumerate(pieces.parts) if _meets(part, polygon, within_m)), None)
        if host is None:
            pieces.parts.append(polygon)
        elif _share_inside(polygon, pieces.parts[host]) > 0.8:
            _sort_inside(polygon, pieces, host, within_m)
        elif _shares_border(polygon, pieces.parts[host], within_m) or is_lobe(
            np.asarray(polygon.exterior.coords)[:-1], pieces.parts[host].area
        ):
            pieces.parts[host] = _unite(pieces.parts[host], polygon, within_m)
        else:
            pieces.left_out.append(polygon)
    return pieces


def _meets(part: Any, polygon: Any, within_m: float) -> bool:
    return bool(part.distance(polygon) < within_m)


def _share_inside(polygon: Any, part: Any) -> float:
    return float(polygon.intersection(part).area / polygon.area)


def _shares_border(polygon: Any, part: Any, within_m: float) -> bool:
    """Tell whether a ring lies along another one, as the two halves do of one that a way has crossed."""
    if is_small_circle(np.asarray(polygon.exterior.coords)[:-1]):
        return False
    along = polygon.exterior.intersection(part.exterior.buffer(within_m / 2.0)).length
    return bool(along > _BORDER_SHARE * polygon.exterior.length)


def _sort_inside(polygon: Any, pieces: Pieces, host: int, within_m: float) -> None:
    is_apart = polygon.exterior.distance(pieces.parts[host].exterior) >= within_m
    known = any(polygon.intersection(island).area > 0.5 * min(polygon.area, island.area) for island in pieces.islands)
    if not is_apart or known:
        return
    halves = (i for i, island in enumerate(pieces.islands) if _shares_border(polygon, island, within_m))
    other = next(halves, None)
    if other is None:
        pieces.islands.append(polygon)
    else:
        pieces.islands[other] = _unite(pieces.islands[other], polygon, within_m)


def _unite(part: Any, polygon: Any, within_m: float) -> Any:
    """Return both as one polygon, joined across a pinch."""
    import shapely

    both = shapely.union(part, polygon)
    if both.geom_type != "Polygon":
        both = shapely.union(part.buffer(0.6 * within_m), polygon.buffer(0.6 * within_m)).buffer(-0.6 * within_m)
        both = shapely.union_all([both, part, polygon])
    whole = max(shapely.get_parts(both), key=lambda piece: piece.area)
    return shapely.Polygon(whole.exterior)
