"""A path taken apart into the loops it closes on itself and the strand that is left."""

from __future__ import annotations

from dataclasses import dataclass
from math import floor, hypot

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Loop:
    """Hold a loop that a path closed.

    Attributes
    ----------
    base
        Index of the place where the loop hangs on what is left of the path.
    places
        Indices of its places in flown order, the base first.
    """

    base: int
    places: Whole


def erase_loops(xy: Floats, is_leg: Flags, *, within_m: float, shortest_m: float) -> tuple[list[Loop], Whole]:
    """Return the loops of a path of even steps, innermost first, and the places that are left.

    The path is followed; where it comes near a place it has been at, all that lies between is a loop, is taken off, and
    the path goes on from there. What is flown out and back falls away as a loop without area. Places on legs close
    nothing.

    Parameters
    ----------
    xy
        Metres, shape (n, 2), steps well below `within_m`.
    is_leg
        Which places close no loop.
    within_m
        How near is near.
    shortest_m
        Length along the path from which on a return is a loop.
    """
    x, y = xy[:, 0].tolist(), xy[:, 1].tolist()
    along = np.r_[0.0, np.cumsum(np.hypot(*np.diff(xy, axis=0).T))].tolist()
    legs = is_leg.tolist()
    strand: list[int] = []
    lengths: list[float] = []  # along the strand, so that what was taken off does not count
    position: dict[int, int] = {}
    cells: dict[tuple[int, int], list[int]] = {}
    loops: list[Loop] = []
    for here in range(len(x)):
        length = lengths[-1] + along[here] - along[here - 1] if strand else 0.0
        if not legs[here]:
            cell_x, cell_y = floor(x[here] / within_m), floor(y[here] / within_m)
            nearest, distance = -1, within_m
            for column in (cell_x - 1, cell_x, cell_x + 1):
                for row in (cell_y - 1, cell_y, cell_y + 1):
                    for other in cells.get((column, row), ()):
                        if length - lengths[position[other]] > shortest_m:
                            apart = hypot(x[here] - x[other], y[here] - y[other])
                            if apart <= distance:
                                nearest, distance = other, apart
            if nearest >= 0:
                base = position[nearest]
                loops.append(Loop(nearest, np.array(strand[base:])))
                for gone in strand[base + 1 :]:
                    del position[gone]
                    if not legs[gone]:
                        cells[floor(x[gone] / within_m), floor(y[gone] / within_m)].remove(gone)
                del strand[base + 1 :], lengths[base + 1 :]
                length = lengths[-1] + distance
            cells.setdefault((cell_x, cell_y), []).append(here)
        position[here] = len(strand)
        strand.append(here)
        lengths.append(length)
    return loops, np.array(strand, dtype=np.int64)
