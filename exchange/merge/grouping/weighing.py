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
from exchange.merge.grouping.repeats import Repeats, weigh_repeats
from exchange.merge.grouping.warmth import Warmth, weigh_warmth
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
    place
        What their places say, natural logarithm of the odds.
    probability
        That they are one spot.
    """

    island: Codes
    crowded: Codes
    pairs: Pairs
    place: Floats
    probability: Floats


def weigh_pairs(
    part: Sightings,
    east: Floats,
    north: Floats,
    variance: Floats,
    sightings_per_spot: float,
    warmth: Warmth | None,
    repeats: Repeats | None,
    *,
    is_all: bool = False,
) -> Weighed:
    """Return the pairs that have to be weighed, with their probabilities.

    Parameters
    ----------
    part, east, north, variance
        The sightings, in metres, and their variance per axis.
    sightings_per_spot
        In the mean.
    warmth, repeats
        What temperatures tell and how often sorties repeat themselves, if that is known.
    is_all
        Whether to weigh those far from any crowd as well.
    """
    pairs = find_pairs_by_accuracy(east, north, variance, part.image, GATE)
    island, alone = _find_lonely(part, pairs, variance, sightings_per_spot, repeats)
    crowded = np.arange(len(part)) if is_all else np.flatnonzero(~alone)
    among = _restrict(pairs, crowded, len(part))
    density = measure_density(east, north, crowded, sightings_per_spot)
    place = weigh_place(among, variance[crowded], density)
    own = part.sortie[crowded]
    if repeats is not None:
        place += weigh_repeats(among, own, repeats)
    odds = place
    if warmth is not None:
        odds = place + weigh_warmth(warmth, among, part.temperature[crowded], own)
    exclusive = np.zeros(len(own)) if repeats is None else repeats.exclude(own, part.image[crowded])
    probability = share_between_rivals(among, odds, part.image[crowded], own, exclusive)
    return Weighed(island=island, crowded=crowded, pairs=among, place=place, probability=probability)


def _find_lonely(
    part: Sightings, pairs: Pairs, variance: Floats, sightings_per_spot: float, repeats: Repeats | None
) -> tuple[Codes, Mask]:
    """Return the islands of likely pairs, and which sightings are of one that needs no weighing.

    In such an island every two sightings are near enough, and no more than one other spot stands beside it.
    """
    count = len(part)
    odds = weigh_place(pairs, variance, np.full(count, LONELY))
    if repeats is not None:
        odds += weigh_repeats(pairs, part.sortie, repeats)
    near = odds >= HARDLY
    likely = pairs.take(near)
    island = find_islands(count, likely)
    size = np.bincount(island, minlength=1)
    has_doubt = np.bincount(island[likely.first[odds[near] < 0]], minlength=len(size)) > 0
    outside = pairs.take(island[pairs.first] != island[pairs.second])
    beside = np.bincount(island[outside.first], minlength=len(size))
    beside = beside + np.bincount(island[outside.second], minlength=len(size))
    is_crowded = beside > sightings_per_spot * size
    return island, np.asarray((mark_cliques(island, likely) & ~has_doubt & ~is_crowded)[island])


def _restrict(pairs: Pairs, rows: Codes, count: int) -> Pairs:
    """Return the pairs among some rows, which are renumbered."""
    if len(rows) == count:
        return pairs
    place = np.full(count, -1)
    place[rows] = np.arange(len(rows))
    inside = (place[pairs.first] >= 0) & (place[pairs.second] >= 0)
    return Pairs(place[pairs.first[inside]], place[pairs.second[inside]], pairs.square[inside])
