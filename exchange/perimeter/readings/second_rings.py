"""The rings around what a reading takes for fire, with the gaps in them."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from exchange.perimeter.paths import Path
from exchange.perimeter.readings.contours import draw_contours
from exchange.perimeter.readings.reading import Reading
from exchange.perimeter.rings import FoundRing
from exchange.perimeter.shapes import ring_area_m2

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

_GAP_IN_STEPS = 6.0
_DROPOUT_M = 12.0
_ON_LINK_M = 3.0
_LEAST_AREA_M2 = 400.0


def draw_rings(reading: Reading, paths: list[Path]) -> list[FoundRing]:
    """Return the rings of a reading; where no fix lies along them they go straight on, and tell it."""
    passes = reading.passes
    is_flown = reading.is_edge & (passes.line < passes.links)
    is_flown[: passes.first_of_line[passes.links]] &= ~np.concatenate([_is_lost(path) for path in paths])
    if not is_flown.any():
        return []
    links = [reading.links[number] for number in reading.used_links]
    rings = draw_contours(reading.area, passes.xy, passes.line, is_flown)
    return [FoundRing(xy, _find_bridges(xy, links)) for xy, _ in rings if ring_area_m2(xy) > _LEAST_AREA_M2]


def _is_lost(path: Path) -> Flags:
    """Tell which places lie where fixes are missing."""
    if path.is_drawn:
        return np.zeros(len(path.even), np.bool_)
    wide = np.flatnonzero(np.diff(path.fine_along) > max(_DROPOUT_M, 2.0 * path.step_m))
    along = np.arange(len(path.even)) * path.step_m
    at = np.clip(np.searchsorted(path.fine_along, along, side="right") - 1, 0, len(path.fine_along) - 2)
    inside = np.minimum(along - path.fine_along[at], path.fine_along[at + 1] - along) > path.step_m
    return np.asarray(np.isin(at, wide) & inside)


def _find_bridges(xy: Floats, links: list[Floats]) -> tuple[Floats, ...]:
    """Return the steps of a ring that lie on links."""
    steps = np.stack([xy, np.roll(xy, -1, axis=0)], axis=1)
    middle, length = steps.mean(axis=1), np.hypot(*(steps[:, 1] - steps[:, 0]).T)
    found: list[Floats] = []
    for link in links:
        wide = np.flatnonzero(length > min(_GAP_IN_STEPS, 0.5 * len(link)))
        if not len(wide):
            continue
        near = np.hypot(*(middle[wide, None] - link[None]).transpose(2, 0, 1)).min(axis=1)
        found += [steps[row] for row in wide[near < _ON_LINK_M + 0.1 * length[wide]]]
    return tuple(found)
