"""All that is true of the invented fire, and all that was seen of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from exchange.demo_fire.fire_edge import FireEdge, make_fire_edge
from exchange.demo_fire.hot_spots import HotSpots, make_hot_spots
from exchange.demo_fire.numbered_list import number_by_hand
from exchange.demo_fire.sorties import SORTIES, Sightings, fly_sortie


@dataclass(frozen=True)
class Scenario:
    """Hold the truth of one seed.

    Attributes
    ----------
    seed
        Of all random numbers.
    edge, spots
        What is true.
    seen
        By sortie, what it saw.
    """

    seed: int
    edge: FireEdge
    spots: HotSpots
    seen: Mapping[str, Sightings]

    @classmethod
    def from_seed(cls, seed: int) -> Scenario:
        """Return the scenario of a seed."""
        edge = make_fire_edge(seed)
        spots = make_hot_spots(seed, edge)
        return cls(seed, edge, spots, {sortie.name: fly_sortie(seed, sortie, edge, spots) for sortie in SORTIES})

    def numbered(self) -> list[tuple[str, Sightings]]:
        """Return the list numbered by hand after the first period."""
        return number_by_hand(self.seen["D-1"], self.seen["N-1"])
