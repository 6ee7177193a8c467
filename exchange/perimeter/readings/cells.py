"""The cells into which flown lines cut the plane; lines that run side by side cut as one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]

OUTSIDE = 0
"""The number of the cell that reaches to infinity."""

_QUARTER_SEGMENTS = 2
_FINEST_SHARE = 0.08
# Borders that all but coincide make overlays without a grid lose whole parts.
_GRID_M = 1e-3
_LOOK_AGAIN_M, _LOOK_AGAIN_ROUND = 170.0, 0.75
_SLIT_M, _RIM_STEP_M = 0.05, 1.0
_SECTION = 64
_THINNEST_SHARE = 0.25
_REACHES = (1.06, 1.3, 1.7, 2.2, 2.8, 3.5)


@dataclass(frozen=True, eq=False)
class Cells:
    """Hold the cells.

    Attributes
    ----------
    polygons
        Shrunk by half the width of a line on all sides; the first is the outside, within a frame.
    half_width_m
        Half the width of a line.
    """

    polygons: NDArray[np.object_]
    half_width_m: float

    def __len__(self) -> int:
        """Return how many there are, the outside included."""
        return len(self.polygons)

    def areas_m2(self) -> Floats:
        """Return the area of each."""
        import shapely

        return np.asarray(shapely.area(self.polygons))

    def places_in(self, which: NDArray[np.bool_]) -> Floats:
        """Return a place inside each of some cells."""
        import shapely

        return np.asarray(shapely.get_coordinates(shapely.point_on_surface(self.polygons[which])))

    def find_small_circles(self) -> list[int]:
        """Return the cells that have the size and the form of a circle flown to look again."""
        import shapely

        grown = shapely.buffer(self.polygons[1:], self.half_width_m, quad_segs=_QUARTER_SEGMENTS)
        length, area = shapely.length(grown), shapely.area(grown)
        is_circle = (length < _LOOK_AGAIN_M) & (4.0 * np.pi * area > _LOOK_AGAIN_ROUND * length**2)
        return (1 + np.flatnonzero(is_circle)).tolist()

    def area_of(self, is_fire: NDArray[np.bool_]) -> Any:
        """Return the area of some cells together, out to the middle of the lines between them and the rest."""
        import shapely

        grown = shapely.buffer(self.polygons, self.half_width_m, quad_segs=_QUARTER_SEGMENTS)
        fire, other = (shapely.union_all(grown[which], grid_size=_GRID_M) for which in (is_fire, ~is_fire))
        # What no cell grows over lies where lines meet or all but meet: it belongs to what it borders on most.
        left = shapely.get_parts(_minus(_minus(shapely.envelope(other), other), fire))
        left = left[shapely.area(left) > _GRID_M]
        whole = shapely.union_all([fire, *left[_borders_more(left, fire, other)]], grid_size=_GRID_M)
        return shapely.buffer(shapely.buffer(whole, _SLIT_M), -_SLIT_M)


def _borders_more(pieces: Any, area: Any, other: Any) -> Any:
    """Tell which pieces border more on an area than on another."""
    import shapely

    shapely.prepare([area, other])
    rims = shapely.segmentize(shapely.boundary(pieces), _RIM_STEP_M)
    corners, piece = shapely.get_coordinates(rims, return_index=True)
    places = shapely.points(corners)
    one, two = (np.bincount(piece, shapely.dwithin(a, places, 0.02), minlength=len(pieces)) for a in (area, other))
    return one > two


def _minus(area: Any, other: Any) -> Any:
    import shapely

    return shapely.difference(area, other, grid_size=_GRID_M)


def cut_plane(lines: Sequence[Floats], *, near_m: float) -> Cells:
    """Return the cells between lines, each of shape (n, 2); lines nearer than ``near_m`` to each other are one."""
    import shapely

    half = near_m / 2.0
    sections = [
        shapely.LineString(line[start : start + _SECTION + 1])
        for line in lines
        for start in range(0, max(len(line) - 1, 1), _SECTION)
        if len(line[start : start + _SECTION + 1]) > 1
    ]
    sections = shapely.simplify(np.array(sections), _FINEST_SHARE * near_m, preserve_topology=False)
    roads = shapely.union_all(shapely.buffer(sections, half, quad_segs=_QUARTER_SEGMENTS), grid_size=_GRID_M)
    west, south, east, north = roads.bounds
    frame = shapely.box(west - 9 * half, south - 9 * half, east + 9 * half, north + 9 * half)
    parts = shapely.get_parts(shapely.difference(frame, roads, grid_size=_GRID_M))
    is_outside = shapely.intersects(parts, shapely.Point(west - 8 * half, south - 8 * half))
    width = 2.0 * shapely.area(parts) / shapely.length(parts)
    kept = parts[~is_outside & (width > _THINNEST_SHARE * half)]
    kept = kept[np.argsort(-shapely.area(kept), kind="stable")]
    return Cells(np.concatenate([parts[is_outside], kept]), half)


def find_sides(cells: Cells, places: Floats, headings: Floats) -> Whole:
    """Return the cells to the left and to the right of places on the lines, shape (n, 2); -1 where none is near."""
    normal = np.column_stack([-headings[:, 1], headings[:, 0]])
    return np.column_stack([_look(cells, places, sign * normal) for sign in (1.0, -1.0)])


def _look(cells: Cells, places: Floats, towards: Floats) -> Whole:
    import shapely

    shapely.prepare(cells.polygons)
    found = np.full(len(places), -1)
    left = np.arange(len(places))
    for reach in _REACHES:
        at = places[left] + reach * cells.half_width_m * towards[left]
        for cell, polygon in enumerate(cells.polygons):
            if not len(left):
                break
            west, south, east, north = polygon.bounds
            near = np.flatnonzero((at[:, 0] > west) & (at[:, 0] < east) & (at[:, 1] > south) & (at[:, 1] < north))
            inside = near[shapely.contains_xy(polygon, at[near, 0], at[near, 1])]
            found[left[inside]] = cell
            keep = np.ones(len(left), np.bool_)
            keep[inside] = False
            left, at = left[keep], at[keep]
    return found
