"""What the sightings as a whole teach about any two of them; learned once, used for all."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from exchange.merge.grouping.density import measure_density
from exchange.merge.grouping.odds import weigh_place
from exchange.merge.grouping.pairs import find_pairs_by_accuracy
from exchange.merge.grouping.warmth import Warmth, learn_warmth
from exchange.merge.sightings import Sightings

Floats = NDArray[np.float64]

GATE = 18.421
"""Chi-square of 2 degrees of freedom that holds 9999 in 10000 (-2 ln 0.0001). A group of six sightings has 15 pairs,
and all of them must be inside, so the customary 99 in 100 would split one true group in seven."""


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
    pairs = find_pairs_by_accuracy(east, north, variance, part.image, GATE)
    per_spot = float(len(part.sortie_names)) if len(part) else 1.0
    density = measure_density(east, north, np.arange(len(part)), per_spot)
    place = weigh_place(pairs, variance, density)
    warmth = learn_warmth(pairs, place, part.temperature, part.sortie, len(part.sortie_names))
    return Yardstick(sightings_per_spot=per_spot, warmth=warmth)
