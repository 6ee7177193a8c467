"""The true spots of one fire: where they are, how hot, how fast they cool."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tests.merge.simulator.regimes import Regime, Span

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Spots:
    """Hold the true spots, one value each: metres east and north, degrees Celsius at the first sortie, hours.

    Parameters
    ----------
    places
        Shape (n, 2).
    heat
        Degrees above the air, shape (n,).
    half_life_hours
        In which the heat above the air halves, shape (n,).
    """

    places: Floats
    heat: Floats
    half_life_hours: Floats

    def __len__(self) -> int:
        """Return the number of spots."""
        return len(self.places)

    def temperatures(self, hours: float) -> Floats:
        """Return the temperatures in degrees Celsius after some hours; the air has 15."""
        return 15.0 + self.heat * 0.5 ** (hours / self.half_life_hours)


def draw_spots(random: np.random.Generator, regime: Regime) -> Spots:
    """Return the true spots of one fire."""
    count = int(random.integers(regime.spots[0], regime.spots[1] + 1))
    places = _lattice(random, count, regime.spacing_m) if regime.pattern == "lattice" else _grow(random, count, regime)
    heat = np.exp(random.normal(4.5, 0.7, len(places)))
    return Spots(places, heat, random.uniform(8.0, 60.0, len(places)))


def _grow(random: np.random.Generator, count: int, regime: Regime) -> Floats:
    """Set each spot beside an earlier one and give it room of its own, drawn from the regime's span."""
    rooms = random.uniform(*regime.spacing_m, count)
    places = np.zeros((count, 2))
    known = 1
    while known < count:
        parent = random.integers(known)
        turn, reach = random.uniform(0.0, 2.0 * np.pi), (rooms[parent] + rooms[known]) / 2.0
        place = places[parent] + reach * np.array([np.cos(turn), np.sin(turn)])
        apart = np.hypot(*(places[:known] - place).T)
        if np.all(apart >= (rooms[:known] + rooms[known]) / 2.0 - 1e-9):
            places[known] = place
            known += 1
    return places - places.mean(axis=0)


def _lattice(random: np.random.Generator, count: int, spacing_m: Span) -> Floats:
    pitch, side = random.uniform(*spacing_m), round(count**0.5)
    steps = pitch * np.arange(side)
    places = np.stack(np.meshgrid(steps, steps), axis=-1).reshape(-1, 2)
    return np.asarray(places - places.mean(axis=0))
