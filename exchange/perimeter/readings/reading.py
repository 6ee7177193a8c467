"""The reading of all tracks: which cells between the flown lines are fire, and what each flown stretch then was."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from exchange.perimeter.faces import winding_numbers
from exchange.perimeter.legs import find_launches
from exchange.perimeter.paths import Path
from exchange.perimeter.readings.cells import Cells, cut_plane
from exchange.perimeter.readings.cost import Pricing
from exchange.perimeter.readings.links import find_links
from exchange.perimeter.readings.passes import Passes, cut_into_passes
from exchange.perimeter.readings.search import find_least

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

_RETURN, _RETURN_M, _RETURN_DEGREES = 0.9, 20.0, 60.0
_RETURN_ARM_M, _RETURN_STRAIGHT = 50.0, 0.98
_MOST_CELLS = 40
_TIP, _WORTH_A_GAP = 40.0, 5.0
_DEAR = {"turn": 12.0, "launch": 10.0, "way": 35.0}


@dataclass(frozen=True, eq=False)
class Reading:
    """Hold the reading.

    Attributes
    ----------
    cells, is_fire
        The cells, and which are fire.
    passes
        All stretches.
    is_edge, is_way
        Which places of all lines are on the edge, and which on a way, a loop flown to look again, or nowhere.
    links
        The thought lines, and which are part of the edge.
    """

    cells: Cells
    is_fire: Flags
    passes: Passes
    is_edge: Flags
    is_way: Flags
    links: list[Floats]
    used_links: list[int]
    items: list[tuple[str, float, tuple[int, ...]]]
    pricing: Pricing
    tips: Floats

    def compare(self, area: Any) -> tuple[float, Flags]:
        """Return what it costs to take another area for fire, and the cells in dispute."""
        import shapely

        inside = shapely.area(shapely.intersection(self.cells.polygons, area))
        is_fire = inside > 0.5 * self.cells.areas_m2()
        is_fire[0] = False
        return self.pricing.price(is_fire), is_fire != self.is_fire

    @property
    def area(self) -> Any:
        """What is fire, metres."""
        return self.cells.area_of(self.is_fire)

    @property
    def cost(self) -> float:
        """What it costs."""
        return sum(cost for _, cost, _ in self.items)

    @property
    def is_doubtful(self) -> bool:
        """Whether some part of it is dear enough to look for gaps in the edge."""
        return any(cost > _DEAR[kind] for kind, cost, _ in self.items if kind in _DEAR)


def read_tracks(paths: list[Path], *, near_m: float) -> Reading | None:
    """Return the reading of least cost; ``None`` where the lines enclose nothing."""
    flown = _read(paths, [], near_m)
    if flown is not None and not flown.is_doubtful:
        return flown
    found = [flown] if flown is not None else []
    tried: set[bytes] = set()
    for a_pair in (1, 3):
        links = find_links(paths, near_m=near_m, a_pair=a_pair)
        key = b"".join(link.tobytes() for link in links)
        linked = _read(paths, links, near_m) if links and key not in tried else None
        found += [linked] if linked is not None else []
        tried.add(key)
    return min(found, key=lambda reading: reading.cost + _WORTH_A_GAP * bool(reading.links)) if found else None


def _read(paths: list[Path], links: list[Floats], near_m: float) -> Reading | None:
    flights = [path.even for path in paths]
    cells = cut_plane([*flights, *links], near_m=near_m)
    if not 1 < len(cells) <= _MOST_CELLS:
        return None
    passes = cut_into_passes(cells, [*flights, *links], links=len(flights))
    pricing = Pricing(passes, near_m, _find_launches(paths), cells.find_small_circles())
    best = find_least(pricing, find_starts(cells, flights))[0][1]
    return _describe(cells, passes, pricing, best, links)


def _describe(cells: Cells, passes: Passes, pricing: Pricing, is_fire: Flags, links: list[Floats]) -> Reading:
    items = pricing.explain(is_fire)
    is_edge = passes.is_edge(is_fire)
    is_way = np.zeros(len(passes), np.bool_)
    for kind, _, about in items:
        if kind in ("way", "look again"):
            is_way[about[0] : about[1]] = True
    used = sorted({about[0] - passes.links for kind, _, about in items if kind == "gap"})
    owner = passes.owner
    sharp = [about for kind, cost, about in items if kind == "turn" and cost > _TIP]
    tips = passes.xy[[int(passes.first[row + 1]) - 1 if way > 0 else int(passes.first[row]) for row, way in sharp]]
    return Reading(cells, is_fire, passes, is_edge[owner], is_way[owner], links, used, items, pricing, tips)


def find_starts(cells: Cells, flights: list[Floats]) -> list[Flags]:
    """Return readings to begin with: all cells, the largest, and those that a flight closed straight goes around."""
    import shapely

    whole, largest = np.ones(len(cells), np.bool_), np.zeros(len(cells), np.bool_)
    whole[0], largest[1] = False, True
    inside = shapely.get_coordinates(shapely.point_on_surface(cells.polygons))
    wound = np.zeros(len(cells), np.bool_)
    for flight in flights:
        wound |= winding_numbers(np.vstack([flight, flight[:1]]), inside) != 0
    wound[0] = False
    return [largest, whole, *([wound] if wound.any() else [])]


def _find_launches(paths: list[Path]) -> list[tuple[float, float]]:
    """Return what speaks for a launch at the first and the last place of each flight."""
    ends = np.stack([path.even[[0, -1]] for path in paths])
    found = find_launches(ends, np.array([path.waits for path in paths]), np.array([path.climbs_m for path in paths]))
    back = np.array([0.0 if path.is_drawn else _RETURN * _is_return(path) for path in paths])
    return [(float(first), float(last)) for first, last in found + back[:, None]]


def _is_return(path: Path) -> bool:
    """Tell whether a flight comes back to where it began, straight back another way than it left, as no edge does."""
    xy = path.even
    reach = min(round(_RETURN_ARM_M / path.step_m), len(xy) // 4)
    out, back = xy[reach] - xy[0], xy[-1] - xy[-1 - reach]
    lengths = np.hypot(*np.stack([out, back]).T)
    cosine = float(out @ back) / max(float(lengths.prod()), 1e-9)
    is_straight = bool((lengths > _RETURN_STRAIGHT * reach * path.step_m).all())
    return is_straight and np.hypot(*(xy[-1] - xy[0])) < _RETURN_M and cosine < np.cos(np.radians(_RETURN_DEGREES))
