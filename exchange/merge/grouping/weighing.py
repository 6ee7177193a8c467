"""How likely any two near sightings are of one spot; those far from any crowd need no weighing."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from exchange.merge.grouping.competition import share_between_rivals
from exchange.merge.grouping.density import measure_density
from exchange.merge.grouping.linkage import mark_cliques
from exchange.merge.grouping.odds import weigh_place
from exchange.merge.grouping.pairs import Pairs, find_islands, find_pairs_by_accuracy
from exchange.merge.grouping.repeats import weigh_repeats
from exchange.merge.grouping.warmth import weigh_warmth
from exchange.merge.grouping.yardstick import Yardstick
from exchange.merge.sightings import Sightings

Floats = NDArray[np.float64]
Codes = NDArray[np.int64]
Mask = NDArray[np.bool_]

GATE = 18.421
"""Chi-square of 2 degrees of freedom that holds 9999 in 10000 (-2 ln 0.0001). A group of six sightings has 15 pairs,
and all of them must be inside, so the customary 99 in 100 would split one true group in seven."""

LONELY = 0.002
"""Density of spots, per square metre, that is taken for islands in which every two sightings are near each other."""

HARDLY = -1.7
"""Natural logarithm of the odds below which a pair joins no island: 15 in 100."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Weighed:
    """Hold the pairs that had to be weighed.

    Attributes
    ----------
    island
        Of each sighting; where a sighting is not crowded its island is a group.
    crowded
        Sightings whose pairs were weighed.
    pairs
        Among the crowded, which are counted from 0.
    probability
        That they are one spot.
    """

    island: Codes
    crowded: Codes
    pairs: Pairs
    probability: Floats


def weigh_pairs(part: Sightings, east: Floats, north: Floats, variance: Floats, yardstick: Yardstick) -> Weighed:
    """Return the pairs that have to be weighed, with their probabilities.

    Parameters
    ----------
    part, east, north, variance
        The sightings, in metres, and their variance per axis.
    yardstick
        What the sightings as a whole teach.
    """
    pairs = find_pairs_by_accuracy(east, north, variance, part.image, GATE)
    untied = yardstick.ties.mark_untied(pairs, part.sortie, np.isfinite(part.variance))
    island, alone = _find_lonely(part, pairs, variance, untied, yardstick)
    crowded = np.flatnonzero(~alone)
    among, chosen = _restrict(pairs, crowded, len(part))
    density = measure_density(east, north, crowded, yardstick.sightings_per_spot)
    sortie, image = part.sortie[crowded], part.image[crowded]
    odds = weigh_place(among, variance[crowded], density)
    if untied.any():
        loose = untied[chosen]
        odds[loose] = yardstick.ties.weigh(among.take(loose), sortie, variance[crowded], density)
    odds += weigh_repeats(among, sortie, yardstick.repeats)
    odds += weigh_warmth(yardstick.warmth, among, part.temperature[crowded], sortie)
    probability = share_between_rivals(among, odds, image, sortie, yardstick.repeats.exclude(sortie, image))
    return Weighed(island=island, crowded=crowded, pairs=among, probability=probability)


def weigh_all_places(
    part: Sightings, east: Floats, north: Floats, variance: Floats, sightings_per_spot: float
) -> tuple[Pairs, Floats]:
    """Return all pairs and what their places say of them, natural logarithm of the odds: the start of all learning.

    Parameters
    ----------
    part, east, north, variance
        As in ``weigh_pairs``.
    sightings_per_spot
        In the mean.
    """
    pairs = find_pairs_by_accuracy(east, north, variance, part.image, GATE)
    density = measure_density(east, north, np.arange(len(part)), sightings_per_spot)
    return pairs, weigh_place(pairs, variance, density)


def _find_lonely(
    part: Sightings, pairs: Pairs, variance: Floats, untied: Mask, yardstick: Yardstick
) -> tuple[Codes, Mask]:
    """Return the islands of likely pairs, and which sightings are of one that needs no weighing.

    In such an island every two sightings are near enough, and no more than one other spot stands beside it.
    """
    count = len(part)
    odds = weigh_place(pairs, variance, np.full(count, LONELY))
    odds += weigh_repeats(pairs, part.sortie, yardstick.repeats)
    near = (odds >= HARDLY) | untied
    likely = pairs.take(near)
    island = find_islands(count, likely)
    size = np.bincount(island, minlength=1)
    has_doubt = np.bincount(island[likely.first[(odds < 0)[near] | untied[near]]], minlength=len(size)) > 0
    outside = pairs.take(island[pairs.first] != island[pairs.second])
    beside = np.bincount(island[outside.first], minlength=len(size))
    beside = beside + np.bincount(island[outside.second], minlength=len(size))
    is_crowded = beside > yardstick.sightings_per_spot * size
    return island, np.asarray((mark_cliques(island, likely) & ~has_doubt & ~is_crowded)[island])


def _restrict(pairs: Pairs, rows: Codes, count: int) -> tuple[Pairs, Mask]:
    """Return the pairs among some rows, which are renumbered, and which they are."""
    place = np.full(count, -1)
    place[rows] = np.arange(len(rows))
    inside = (place[pairs.first] >= 0) & (place[pairs.second] >= 0)
    return Pairs(place[pairs.first[inside]], place[pairs.second[inside]], pairs.square[inside]), inside
