"""What the sightings as a whole teach about any two of them; learned once, used for all."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from exchange.merge.grouping.repeats import Repeats, learn_repeats, weigh_repeats
from exchange.merge.grouping.warmth import Warmth, learn_warmth
from exchange.merge.grouping.weighing import weigh_pairs
from exchange.merge.sightings import Sightings, choose_cells, find_cells

Floats = NDArray[np.float64]

PLACE_M = 60.0


@dataclass(frozen=True, kw_only=True, eq=False)
class Yardstick:
    """Hold what is needed to weigh any two sightings.

    Attributes
    ----------
    sightings_per_spot
        As many sorties as see a place, in the mean.
    warmth
        What temperatures tell.
    repeats
        How often each sortie repeats itself.
    """

    sightings_per_spot: float
    warmth: Warmth
    repeats: Repeats


def learn_yardstick(part: Sightings, east: Floats, north: Floats, variance: Floats) -> Yardstick:
    """Return the yardstick that these sightings, all or a fair sample of them, teach.

    Parameters
    ----------
    part
        The sightings.
    east, north
        Metres, shifts taken out.
    variance
        Per axis, square metres.
    """
    fair = choose_cells(part)
    part, east, north, variance = part.take(fair), east[fair], north[fair], variance[fair]
    per_spot = _count_sorties_at_a_place(part)
    weighed = weigh_pairs(part, east, north, variance, per_spot, None, None, is_all=True)
    repeats = learn_repeats(weighed.pairs, part.sortie, part.sortie_names)
    place = weighed.place + weigh_repeats(weighed.pairs, part.sortie, repeats)
    warmth = learn_warmth(weighed.pairs, place, part.temperature, part.sortie, len(part.sortie_names))
    return Yardstick(sightings_per_spot=per_spot, warmth=warmth, repeats=repeats)


def _count_sorties_at_a_place(part: Sightings) -> float:
    """Return by how many sorties a place is seen, in the mean over the sightings."""
    if not len(part):
        return 1.0
    cell = np.unique(find_cells(part.east, part.north, PLACE_M), return_inverse=True)[1]
    couple = np.unique(cell * len(part.sortie_names) + part.sortie)
    sorties = np.bincount(couple // len(part.sortie_names))
    return float(sorties[cell].mean())
