"""What the sightings as a whole teach about any two of them; learned once, used for all."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from exchange.merge.grouping.warmth import Warmth, learn_warmth
from exchange.merge.grouping.weighing import weigh_pairs
from exchange.merge.sightings import Sightings

Floats = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True, eq=False)
class Yardstick:
    """Hold what is needed to weigh any two sightings.

    Attributes
    ----------
    sightings_per_spot
        As many sorties as see a place, in the mean.
    warmth
        What temperatures tell.
    """

    sightings_per_spot: float
    warmth: Warmth


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
    per_spot = float(max(len(part.sortie_names), 1))
    weighed = weigh_pairs(part, east, north, variance, per_spot, None, is_all=True)
    warmth = learn_warmth(weighed.pairs, weighed.place, part.temperature, part.sortie, len(part.sortie_names))
    return Yardstick(sightings_per_spot=per_spot, warmth=warmth)
