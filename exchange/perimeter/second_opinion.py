"""A second opinion on the rings: another computation reads the same tracks as cells, and both are held together."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

from exchange.perimeter.faces import fill_path
from exchange.perimeter.finding import Finding, to_places
from exchange.perimeter.paths import Path
from exchange.perimeter.pieces import sort_pieces
from exchange.perimeter.readings.reading import read_tracks
from exchange.perimeter.readings.second_rings import draw_rings
from exchange.perimeter.rings import FoundRing, RingSearch, is_closed

if TYPE_CHECKING:
    from exchange.geo.frame import LocalFrame

Floats = NDArray[np.float64]

TWO_READINGS: Final = "two-readings"
SAME_SHARE: Final = 0.01
"""Readings that differ by less of the area than this are the same."""

_DEARER, _GREAT_SHARE = 20.0, 0.05
_MOST_STEPS: Final = 20_000
"""Longer tracks, about 50 km, get no second opinion: it would take longer than the first."""


@dataclass(frozen=True, eq=False)
class Opinion:
    """Hold what is made of both.

    Attributes
    ----------
    search
        The rings to go on with.
    is_confirmed
        Whether both took the same ground for fire, and no corner of it was left unflown.
    disputed_m2
        The ground that one took for fire and the other did not.
    places
        A place in each disputed cell, metres, shape (n, 2).
    """

    search: RingSearch
    is_confirmed: bool = False
    disputed_m2: float = 0.0
    places: Floats = field(default_factory=lambda: np.empty((0, 2)))


def weigh_rings(search: RingSearch, paths: Sequence[Path], *, within_m: float) -> Opinion:
    """Return the rings to go on with, and what is in dispute about them.

    The rings found stand, unless a notably cheaper reading of the tracks leaves them open.

    Parameters
    ----------
    search
        As found (`exchange.perimeter.rings.find_rings`).
    paths
        The flights.
    within_m
        How near is near.
    """
    if sum(len(path.even) for path in paths) > _MOST_STEPS:
        return Opinion(search)
    reading = read_tracks(list(paths), near_m=within_m)
    if reading is None:
        return Opinion(search)
    price, disputed = reading.compare(_area_of(search, within_m))
    disputed_m2 = float(reading.cells.areas_m2()[disputed].sum())
    burned_m2 = float(reading.cells.areas_m2()[reading.is_fire].sum())
    is_same = disputed_m2 <= SAME_SHARE * burned_m2
    if is_same or not (search.rings and not search.open_rings):
        return Opinion(search, is_confirmed=is_same and not len(reading.tips))
    is_dear = price > reading.cost + _DEARER and disputed_m2 > _GREAT_SHARE * burned_m2
    second = _to_search(draw_rings(reading, list(paths)), search) if is_dear else search
    return Opinion(second if second.open_rings else search, False, disputed_m2, reading.cells.places_in(disputed))


def tell_dispute(frame: LocalFrame, opinion: Opinion) -> list[Finding]:
    """Return a flag where two computations take the same tracks for different rings."""
    if not len(opinion.places):
        return []
    words = (
        f"The tracks can be read in two ways that differ by {opinion.disputed_m2 / 1e4:.1f} ha. "
        "Look at the picture: the wrong ring may have been taken."
    )
    places = to_places(frame, opinion.places)
    return [Finding(code=TWO_READINGS, words=words, places=places, figures={"disputed_m2": opinion.disputed_m2})]


def _area_of(search: RingSearch, within_m: float) -> Any:
    import shapely

    rings = [*search.rings, *search.open_rings]
    pieces = sort_pieces([polygon for ring in rings for polygon in fill_path(ring.xy)], within_m=within_m)
    return shapely.difference(shapely.union_all(pieces.parts), shapely.union_all(pieces.islands))


def _to_search(rings: list[FoundRing], first: RingSearch) -> RingSearch:
    is_good = [is_closed(ring) for ring in rings]
    return RingSearch(
        [ring for ring, good in zip(rings, is_good, strict=True) if good],
        [ring for ring, good in zip(rings, is_good, strict=True) if not good],
        first.strands,
    )
