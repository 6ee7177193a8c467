"""A flight read as stretches, ways and edges by turns: of all readings the one that costs least."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from exchange.perimeter.cuts import CutPath, cut_path
from exchange.perimeter.edge_cost import Edges, weigh_edges
from exchange.perimeter.paths import Path
from exchange.perimeter.way_cost import NEVER, weigh_ways

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]

_FEWEST_PLACES: Final = 12
_WAY, _EDGE = 0, 1
# Who flies out to an edge flies home as well; and a flight is made for an edge. In the units of ``way_cost``.
_ONE_WAY, _NO_EDGE = 1.5, 15.0


class Stretch(NamedTuple):
    """Hold a stretch of a path by its first and last place, whether it is an edge, and whether that closes."""

    first: int
    last: int
    is_edge: bool
    is_closed: bool


@dataclass(frozen=True, eq=False)
class Reading:
    """Hold the stretches of a flight, and what speaks against reading it so."""

    stretches: tuple[Stretch, ...]
    cost: float


def read_path(
    path: Path, launches: tuple[float, float], beside: Whole, *, is_alone: bool, most: int = 1
) -> list[Reading]:
    """Return the cheapest readings of one flight, the best first.

    Parameters
    ----------
    path
        The flight. A drawn line is an edge, whatever its form.
    launches
        What speaks for a launch at its start and its end (`exchange.perimeter.legs.find_launches`).
    beside
        Places where it meets or leaves another flight, the most telling first.
    is_alone
        Whether no other flight may go on along the same edge.
    most
        How many readings.
    """
    if path.is_drawn or len(path.even) < _FEWEST_PLACES:
        return [Reading((Stretch(0, len(path.even) - 1, is_edge=True, is_closed=False),), 0.0)]
    cut = cut_path(path, launches, beside)
    ways, edges = weigh_ways(cut), weigh_edges(cut, is_alone=is_alone)
    readings = [_read(cut, ways, edges, first, last) for first in (_WAY, _EDGE) for last in (_WAY, _EDGE)]
    if most > 1:
        readings += _read_as_parts(cut, ways, edges, most)
    return sorted(readings, key=lambda reading: reading.cost)[:most]


def _read(cut: CutPath, ways: Floats, edges: Edges, first: int, last: int) -> Reading:
    """Return the cheapest reading that begins and ends with a way or an edge, as asked."""
    costs, count = (ways, edges.costs), len(cut.cuts)
    least, came_from = np.full((2, count), NEVER), np.zeros((2, count), np.int64)
    for at in range(1, count):
        for kind in (_WAY, _EDGE):
            before = np.r_[0.0 if kind == first else NEVER, least[1 - kind, 1:at]]
            total = before + costs[kind][:at, at]
            came_from[kind, at] = total.argmin()
            least[kind, at] = total.min()
    stretches, kind, at = [], last, count - 1
    while at > 0:
        begin = int(came_from[kind, at])
        stretches.append(_to_stretch(cut, edges, begin, at, kind == _EDGE))
        at, kind = begin, 1 - kind
    is_edgeless = not any(stretch.is_edge for stretch in stretches)
    odd = (_ONE_WAY if first != last else 0.0) + (_NO_EDGE if is_edgeless else 0.0)
    return Reading(tuple(stretches[::-1]), float(least[last, -1]) + odd)


def _read_as_parts(cut: CutPath, ways: Floats, edges: Edges, most: int) -> list[Reading]:
    """Return the cheapest readings with one edge, which other flights may go on along."""
    count = len(cut.cuts)
    out, home = np.r_[0.0, ways[0, 1:]], np.r_[ways[:-1, -1], 0.0]
    costs = out[:, None] + edges.costs + home[None, :]
    costs[0, :-1] += _ONE_WAY
    costs[1:, -1] += _ONE_WAY
    readings = []
    for flat in np.argsort(costs, axis=None, kind="stable")[:most].tolist():
        i, j = divmod(flat, count)
        every = [_to_stretch(cut, edges, 0, i, False), _to_stretch(cut, edges, i, j, True)]
        every.append(_to_stretch(cut, edges, j, count - 1, False))
        readings.append(Reading(tuple(one for one in every if one.first < one.last), float(costs[i, j])))
    return readings


def _to_stretch(cut: CutPath, edges: Edges, i: int, j: int, is_edge: bool) -> Stretch:
    return Stretch(int(cut.cuts[i]), int(cut.cuts[j]), is_edge, bool(is_edge and edges.is_closed[i, j]))
