"""Temperature as evidence: learned from the sightings themselves how much it tells, if anything."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from exchange.merge.grouping.pairs import Pairs

Floats = NDArray[np.float64]
Codes = NDArray[np.int64]

CLASSES = 12
LEAST_PAIRS = 100
"""With fewer pairs than this nothing is learned, and temperature tells nothing."""

MOST_TOLD = 3.0
"""Bound on what one pair's temperatures may say, natural logarithm: 20 to 1."""

_ROUNDS = 8
_LEVEL_ROUNDS = 30
_OFFSET_K = 20.0


@dataclass(frozen=True, eq=False)
class _Scale:
    """Hold what a difference of temperature tells: the upper edges of its classes, and a logarithm for each."""

    edges: Floats
    told: Floats


NOTHING = _Scale(np.empty(0), np.zeros(1))


@dataclass(frozen=True, kw_only=True, eq=False)
class Warmth:
    """Hold what temperatures tell.

    Attributes
    ----------
    level
        Mean logarithmic temperature of each sortie against the others, shape (sorties,).
    within, across
        What a difference tells within one sortie, and between two.
    """

    level: Floats
    within: _Scale = NOTHING
    across: _Scale = NOTHING


def learn_warmth(pairs: Pairs, place: Floats, temperature: Floats, sortie: Codes, sorties: int) -> Warmth:
    """Return what the temperatures of these sightings tell.

    The differences of (logarithmic) temperature of pairs that lie together are compared with those of sightings that
    do not, in classes equally frequent by chance, apart for repeats within one sortie; which pairs lie together is
    taken from their places first and then, in a few rounds, from both.

    Parameters
    ----------
    pairs
        Of sightings.
    place
        What their places say, natural logarithm of the odds.
    temperature
        Degrees Celsius of each sighting; NaN tells nothing.
    sortie
        Of each sighting.
    sorties
        How many there are.
    """
    warmth = _take_logarithm(temperature)
    known = np.isfinite(warmth[pairs.first]) & np.isfinite(warmth[pairs.second])
    if known.sum() < LEAST_PAIRS:
        return Warmth(level=np.zeros(sorties))
    level = _find_level(warmth, sortie, pairs.take(known), _as_probability(place[known]), sorties)
    cooled = warmth - level[sortie]
    difference = np.abs(cooled[pairs.first] - cooled[pairs.second])
    by_chance = np.sort(np.abs(_draw_strangers(cooled)))
    within = known & (sortie[pairs.first] == sortie[pairs.second])
    across = known & ~within
    return Warmth(
        level=level,
        within=_learn(difference[within], place[within], by_chance),
        across=_learn(difference[across], place[across], by_chance),
    )


def weigh_warmth(warmth: Warmth, pairs: Pairs, temperature: Floats, sortie: Codes) -> Floats:
    """Return for each pair how much likelier its temperatures are for one spot than for two, as a logarithm."""
    cooled = _take_logarithm(temperature) - warmth.level[sortie]
    difference = np.abs(cooled[pairs.first] - cooled[pairs.second])
    within = sortie[pairs.first] == sortie[pairs.second]
    told = np.where(within, _read(warmth.within, difference), _read(warmth.across, difference))
    return np.where(np.isnan(difference), 0.0, told)


def _take_logarithm(temperature: Floats) -> Floats:
    return np.log(np.maximum(temperature, 1 - _OFFSET_K) + _OFFSET_K)


def _as_probability(odds: Floats) -> Floats:
    return np.asarray(1 / (1 + np.exp(-np.clip(odds, -50, 50))))


def _read(scale: _Scale, difference: Floats) -> Floats:
    return scale.told[np.searchsorted(scale.edges, difference)] if len(scale.edges) else np.zeros(len(difference))


def _learn(difference: Floats, place: Floats, by_chance: Floats) -> _Scale:
    if len(difference) < LEAST_PAIRS:
        return NOTHING
    edges = np.unique(by_chance[(np.arange(1, CLASSES) * len(by_chance)) // CLASSES])
    kind = np.searchsorted(edges, difference)
    chance = np.bincount(np.searchsorted(edges, by_chance), minlength=len(edges) + 1) + 1.0
    chance /= chance.sum()
    told = np.zeros(len(edges) + 1)
    for _ in range(_ROUNDS):
        together = _as_probability(place + told[kind])
        found = np.bincount(kind, together, minlength=len(told))
        share = (found + LEAST_PAIRS * chance / 4) / (found.sum() + LEAST_PAIRS / 4)
        told = np.clip(np.log(share / chance), -MOST_TOLD, MOST_TOLD)
    return _Scale(edges, told)


def _find_level(warmth: Floats, sortie: Codes, pairs: Pairs, together: Floats, count: int) -> Floats:
    """Return the level of each sortie's temperatures, by least squares over the pairs; it falls as spots cool."""
    across = sortie[pairs.first] != sortie[pairs.second]
    pairs, together = pairs.take(across), together[across]
    a, b = sortie[pairs.first], sortie[pairs.second]
    difference = warmth[pairs.first] - warmth[pairs.second]
    weight = np.bincount(a, together, minlength=count) + np.bincount(b, together, minlength=count) + 1e-3
    level = np.zeros(count)
    for _ in range(_LEVEL_ROUNDS):
        left = together * (difference - level[a] + level[b])
        step = np.bincount(a, left, minlength=count) - np.bincount(b, left, minlength=count)
        level += step / weight / 2
    return level


def _draw_strangers(cooled: Floats) -> Floats:
    """Return differences between sightings that lie far apart in the order of longitude, which are not of one spot."""
    known = cooled[np.isfinite(cooled)]
    steps = [max(len(known) * part // 17, 1) for part in range(3, 15)]
    return np.concatenate([known - np.roll(known, step) for step in steps])
