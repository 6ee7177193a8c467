"""A long narrow neck in a ring: two ways flown side by side between two fires, or to an island, taken for edge."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from exchange.perimeter.finding import Finding, to_places

if TYPE_CHECKING:
    from exchange.geo.frame import LocalFrame

Floats = NDArray[np.float64]

NARROW_NECK: Final = "narrow-neck"
WIDEST_M: Final = 24.0
SHORTEST_M: Final = 100.0


def judge_narrow_neck(frame: LocalFrame, rings: Sequence[Floats]) -> list[Finding]:
    """Return a flag where a ring is a long narrow strip.

    Parameters
    ----------
    frame
        The metres of the rings.
    rings
        Of shape (n, 2), not closed.
    """
    necks = [neck for ring in rings for neck in find_necks(ring)]
    if not necks:
        return []
    longest = max(length_m for _, length_m in necks)
    places = to_places(frame, np.array([place for place, _ in necks]))
    words = (
        f"Over {longest:.0f} m the area is narrower than {WIDEST_M:.0f} m: two ways flown side by side may have been "
        "taken for edge. Look at the picture; give separate fires and islands flights of their own."
    )
    return [Finding(code=NARROW_NECK, words=words, places=places, figures={"longest_m": longest})]


def find_necks(ring: Floats) -> list[tuple[tuple[float, float], float]]:
    """Return a place in each long strip of a ring narrower than ``WIDEST_M``, and the strip's length in metres."""
    import shapely

    area = shapely.Polygon(ring).buffer(0)
    # Opened by half the width: what a disc of that width does not reach is narrower.
    wide = area.buffer(-WIDEST_M / 2).buffer(WIDEST_M / 2 + 0.5)
    strips = shapely.get_parts(area.difference(wide))
    found = ((strip.representative_point(), strip.length / 2) for strip in strips)
    return [((place.x, place.y), length) for place, length in found if length > SHORTEST_M]
