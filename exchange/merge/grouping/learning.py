"""What the sightings as a whole teach about any two of them; learned once, used for all."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from exchange.merge.grouping.repeats import learn_repeats, weigh_repeats
from exchange.merge.grouping.ties import learn_ties
from exchange.merge.grouping.warmth import learn_warmth
from exchange.merge.grouping.weighing import weigh_all_places
from exchange.merge.grouping.yardstick import Yardstick
from exchange.merge.sightings import Sightings, choose_cells, find_cells

Floats = NDArray[np.float64]
Codes = NDArray[np.int64]

PLACE_M = 60.0


def learn_yardstick(
    part: Sightings, east: Floats, north: Floats, variance: Floats, net: Codes | None = None
) -> Yardstick:
    """Return the yardstick that these sightings, all or a fair sample of them, teach.

    Parameters
    ----------
    part
        The sightings.
    east, north
        Metres, shifts taken out.
    variance
        Per axis, square metres.
    net
        Of each sortie; those of one net are measured against each other, as all are where nothing is given.
    """
    fair = choose_cells(part)
    part, east, north, variance = part.take(fair), east[fair], north[fair], variance[fair]
    per_spot = _count_sorties_at_a_place(part)
    pairs, place = weigh_all_places(part, east, north, variance, per_spot)
    ties = learn_ties(pairs, part.sortie, np.zeros(len(part.sortie_names), np.int64) if net is None else net)
    repeats = learn_repeats(pairs, part.sortie, part.sortie_names)
    place += weigh_repeats(pairs, part.sortie, repeats)
    warmth = learn_warmth(pairs, place, part.temperature, part.sortie, len(part.sortie_names))
    return Yardstick(sightings_per_spot=per_spot, warmth=warmth, repeats=repeats, ties=ties)


def _count_sorties_at_a_place(part: Sightings) -> float:
    """Return by how many sorties a place is seen, in the mean over the sightings."""
    if not len(part):
        return 1.0
    cell = np.unique(find_cells(part.east, part.north, PLACE_M), return_inverse=True)[1]
    couple = np.unique(cell * len(part.sortie_names) + part.sortie)
    sorties = np.bincount(couple // len(part.sortie_names))
    return float(sorties[cell].mean())
