"""The true hot spots: where they are, since when, how hot they are at any moment, and what crews did to them."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from exchange.demo_fire.fire_edge import GROWTH_AT, FireEdge, distances_to_ring_m
from exchange.demo_fire.scene import HOUR, Floats, Whole, dice, seconds_at

_NEAR_EDGE, _DEEP, _IN_GROWTH, _OUTSIDE = 68, 34, 18, 2
_APART_M: Final = 7.0
_CLOSE_PAIRS: Final = 3
_CLOSE_M: Final = 4.5
COOLED_BY: Final = seconds_at("2026-08-14T15:30:00-06:00")
"""The crews' last word of the second period."""
FLARED_UP_AT: Final = seconds_at("2026-08-14T18:20:00-06:00")
"""When one spot that a crew had called out was hot again."""
_WORKED: Final = 30
PUT_OUT: Final = 15
FLARED_UP: Final = 2
_STAND_APART_M: Final = 25.0


@dataclass(frozen=True)
class HotSpots:
    """Hold the true spots, one a row.

    Attributes
    ----------
    x, y
        Metres of the fire's frame.
    born, cooled, flared_up
        Seconds of the fire's clock: when it took, when a crew put it out, when it was hot again; infinite is never.
    heat
        Degrees Celsius above the air at birth.
    life
        Seconds in which the heat falls to 37 %.
    worked
        Rows that the crews go to in the second period: those they put out first, those that flare up first of all.
    """

    x: Floats
    y: Floats
    born: Floats
    heat: Floats
    life: Floats
    cooled: Floats
    flared_up: Floats
    worked: Whole

    def __len__(self) -> int:
        """Return the number of spots."""
        return len(self.x)

    def temperatures_c(self, seconds: Floats | float, rows: Whole | slice = slice(None)) -> Floats:
        """Return the true surface temperature of spots (all, or ``rows``) at instants, in degrees Celsius."""
        when = np.asarray(seconds, float)
        age = when - self.born[rows]
        glow = np.where(age >= 0, self.heat[rows] * np.exp(-np.maximum(age, 0.0) / self.life[rows]), 0.0)
        glow = np.where(when >= self.cooled[rows], 2.0, glow)
        again = when - self.flared_up[rows]
        glow = np.where(again >= 0, 330.0 * np.exp(-np.maximum(again, 0.0) / self.life[rows]), glow)
        return air_c(when) + glow


def air_c(seconds: Floats | float) -> Floats:
    """Return the temperature of the air: 9 °C before dawn, 27 °C in the afternoon."""
    hour = (np.asarray(seconds, float) / HOUR - 6.0) % 24.0
    return np.asarray(18.0 - 9.0 * np.cos((hour - 4.0) / 24.0 * 2 * np.pi))


def make_hot_spots(seed: int, edge: FireEdge) -> HotSpots:
    """Return the true hot spots of a fire, north to south."""
    random = dice(seed, "hot spots")
    places = np.empty((0, 2))
    for count, propose in (
        (_NEAR_EDGE, _near_edge),
        (_DEEP, _anywhere),
        (_IN_GROWTH, _in_growth),
        (_OUTSIDE, _just_outside),
    ):
        places = _add_apart(places, propose(random, edge), count)
    pairs = places[random.choice(_NEAR_EDGE, _CLOSE_PAIRS, replace=False)]
    turn = random.uniform(0, 2 * np.pi, _CLOSE_PAIRS)
    places = np.vstack([places, pairs + _CLOSE_M * np.column_stack([np.cos(turn), np.sin(turn)])])
    x, y = places[np.argsort(-places[:, 1])].T
    return _with_heat(random, edge, x, y)


def _near_edge(random: np.random.Generator, edge: FireEdge) -> Floats:
    """Propose places some metres to a few chains inside the first edge."""
    ahead = np.roll(edge.first, -1, axis=0) - edge.first
    inward = np.column_stack([-ahead[:, 1], ahead[:, 0]]) / np.linalg.norm(ahead, axis=1, keepdims=True)
    at = random.integers(0, len(edge.first), 4 * _NEAR_EDGE)
    places = edge.first[at] + inward[at] * (2.0 + random.exponential(12.0, (len(at), 1)))
    return np.asarray(places[edge.is_burned(*places.T, grown=False)])


def _anywhere(random: np.random.Generator, edge: FireEdge) -> Floats:
    places = _scatter(random, edge.first, 6 * _DEEP)
    return places[edge.is_burned(*places.T, grown=False)]


def _in_growth(random: np.random.Generator, edge: FireEdge) -> Floats:
    places = _scatter(random, edge.grown, 1200)
    return places[edge.is_burned(*places.T, grown=True) & ~edge.is_burned(*places.T, grown=False)]


def _just_outside(random: np.random.Generator, edge: FireEdge) -> Floats:
    """Propose spot fires 15 to 60 m beyond the edge."""
    places = _scatter(random, edge.grown * 1.1, 300)
    beyond = distances_to_ring_m(edge.grown, *places.T)
    outside = ~edge.is_burned(*places.T, grown=True) & (places[:, 0] > -100.0)
    return places[outside & (beyond > 15.0) & (beyond < 60.0)]


def _scatter(random: np.random.Generator, ring: Floats, count: int) -> Floats:
    return random.uniform(ring.min(axis=0), ring.max(axis=0), (count, 2))


def _add_apart(places: Floats, proposed: Floats, count: int) -> Floats:
    """Take proposed places in turn, none nearer than ``_APART_M`` to another, until there are ``count`` more."""
    wanted = len(places) + count
    for place in proposed:
        if len(places) == wanted:
            break
        if not len(places) or np.hypot(*(places - place).T).min() >= _APART_M:
            places = np.vstack([places, place])
    return places


def _with_heat(random: np.random.Generator, edge: FireEdge, x: Floats, y: Floats) -> HotSpots:
    count = len(x)
    grown_only = ~edge.is_burned(x, y, grown=False)
    born = np.where(grown_only, GROWTH_AT + random.uniform(0, 2 * HOUR, count), -random.uniform(2, 20, count) * HOUR)
    heat = np.exp(random.uniform(np.log(70.0), np.log(560.0), count))
    life = random.uniform(22.0, 70.0, count) * HOUR
    never = np.full(count, np.inf)
    spots = HotSpots(x, y, born, heat, life, cooled=never, flared_up=never.copy(), worked=np.empty(0, np.int64))
    worked = _choose_worked(random, spots)
    spots.cooled[worked[:PUT_OUT]] = COOLED_BY - random.uniform(1.0, 7.0, PUT_OUT) * HOUR
    spots.flared_up[worked[:FLARED_UP]] = FLARED_UP_AT
    return replace(spots, worked=worked)


def _choose_worked(random: np.random.Generator, spots: HotSpots) -> Whole:
    """Return which spots the crews go to: hot before the night, standing apart, no two to be mixed up."""
    away = np.hypot(spots.x[:, None] - spots.x, spots.y[:, None] - spots.y)
    np.fill_diagonal(away, np.inf)
    hot = spots.temperatures_c(seconds_at("2026-08-14T05:00:00-06:00")) > 75.0
    fit = np.flatnonzero(hot & (spots.born < 0) & (away.min(axis=1) > _STAND_APART_M))
    chosen = random.permutation(fit)[:_WORKED]
    hottest = np.argsort(-spots.heat[chosen], kind="stable")[:FLARED_UP]
    return np.concatenate([chosen[hottest], np.delete(chosen, hottest)])
