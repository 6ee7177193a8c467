"""What the sightings as a whole teach about any two of them."""

from __future__ import annotations

from dataclasses import dataclass

from exchange.merge.grouping.repeats import Repeats
from exchange.merge.grouping.ties import Ties
from exchange.merge.grouping.warmth import Warmth


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
    ties
        Which sorties are measured against each other.
    """

    sightings_per_spot: float
    warmth: Warmth
    repeats: Repeats
    ties: Ties
