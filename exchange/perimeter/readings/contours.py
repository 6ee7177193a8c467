"""The rings around what a reading takes for fire, through the flown places themselves."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
Whole = NDArray[np.int64]

_STEP_M = 2.0
_FLOWN_WITHIN_M = 5.0
_MOST_BETWEEN = 8


def draw_contours(area: Any, places: Floats, line: Whole, is_flown: Flags) -> list[tuple[Floats, bool]]:
    """Return each ring around an area, and whether it is an island's.

    Where the edge was flown a ring goes through the flown places, else straight on.

    Parameters
    ----------
    area
        Polygon or multipolygon.
    places, line
        Places on the edge in flown order, shape (n, 2), and the line that each is on.
    is_flown
        Which of them are there by fixes.
    """
    import shapely
    from scipy.spatial import cKDTree

    tree = cKDTree(places[is_flown])
    rows = np.flatnonzero(is_flown)
    rings = []
    for part in shapely.get_parts(area):
        for number, ring in enumerate(shapely.get_rings(part)):
            corners = shapely.get_coordinates(shapely.segmentize(ring, _STEP_M))[:-1]
            distance, nearest = tree.query(corners, distance_upper_bound=_FLOWN_WITHIN_M)
            through = rows[nearest[np.isfinite(distance)]]
            if len(through) < 4:
                continue
            rings.append((places[_fill_in(through, line)], number > 0))
    return rings


def _fill_in(through: Whole, line: Whole) -> Whole:
    """Put back the places that lie between two taken ones on the same line, such as the tip of a corner."""
    through = through[np.flatnonzero(np.diff(through, prepend=-1) != 0)]
    after = np.roll(through, -1)
    steps = after - through
    is_near = (line[after] == line[through]) & (np.abs(steps) <= _MOST_BETWEEN)
    count = np.where(is_near, np.maximum(np.abs(steps), 1), 1)
    index = np.repeat(np.arange(len(through)), count)
    within = np.arange(len(index)) - np.repeat(np.cumsum(count) - count, count)
    return np.asarray(through[index] + within * np.sign(steps[index]))
