"""Which sightings are one spot."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from exchange.merge.grouping.density import measure_density
from exchange.merge.grouping.doubt import Grouping, find_doubts
from exchange.merge.grouping.linkage import link_by_mean, link_completely, mark_cliques, number_groups
from exchange.merge.grouping.odds import weigh_place
from exchange.merge.grouping.pairs import Pairs, find_islands, find_pairs_by_accuracy, find_pairs_within
from exchange.merge.grouping.warmth import weigh_warmth
from exchange.merge.grouping.yardstick import GATE, Yardstick
from exchange.merge.sightings import Sightings

Floats = NDArray[np.float64]
Codes = NDArray[np.int64]
Mask = NDArray[np.bool_]

LEAST_MEAN = 0.4
"""Mean probability from which two groups are one. Below a half, because to leave a spot in two costs more pairs than
to take in a stranger; found on simulated fires, flat between 0.3 and 0.5."""

LONELY = 0.002
"""Density of spots, per square metre, that is taken for islands in which every two sightings are inside the gate."""


def group_sightings(
    part: Sightings, east: Floats, north: Floats, variance: Floats, yardstick: Yardstick, *, within_m: float
) -> Grouping:
    """Return which sightings are one spot, and what is doubtful about it.

    Parameters
    ----------
    part
        The sightings; those of one image cannot be one spot.
    east, north
        Metres, shifts taken out.
    variance
        Per axis, square metres.
    yardstick
        What the sightings as a whole teach.
    within_m
        Bound on the width of a group; NaN to judge by the accuracies.
    """
    if np.isnan(within_m):
        return group_by_accuracy(part, east, north, variance, yardstick)
    pairs = find_pairs_within(east, north, part.image, within_m)
    return find_doubts(link_completely(len(east), pairs), pairs, 1 - pairs.square / within_m**2, 0.0)


def group_by_accuracy(part: Sightings, east: Floats, north: Floats, variance: Floats, yardstick: Yardstick) -> Grouping:
    """Return which sightings are one spot, judged by the accuracies of both, the crowd around and the temperatures."""
    pairs = find_pairs_by_accuracy(east, north, variance, part.image, GATE)
    alone = _find_lonely(len(part), pairs, variance)
    island = find_islands(len(part), pairs.take(alone[pairs.first]))
    crowded = np.flatnonzero(~alone)
    crowd = _restrict(pairs, crowded, len(part))
    probability = _weigh_crowd(part, east, north, variance, yardstick, crowded, crowd)
    linked = link_by_mean(len(crowded), crowd, probability, LEAST_MEAN)
    group = island
    group[crowded] = len(part) + linked
    found = number_groups(group)
    of_crowd = Pairs(crowded[crowd.first], crowded[crowd.second], crowd.square)
    return find_doubts(found, of_crowd, probability, LEAST_MEAN)


def _find_lonely(count: int, pairs: Pairs, variance: Floats) -> Mask:
    """Return which sightings are of an island whose every pair is near enough: these need no weighing."""
    island = find_islands(count, pairs)
    likely = weigh_place(pairs, variance, np.full(count, LONELY)) > 0
    size = np.bincount(island, minlength=1)
    has_doubt = np.bincount(island[pairs.first[~likely]], minlength=len(size)) > 0
    return np.asarray((mark_cliques(island, pairs) & ~has_doubt)[island])


def _restrict(pairs: Pairs, rows: Codes, count: int) -> Pairs:
    """Return the pairs among some rows, which are renumbered."""
    place = np.full(count, -1)
    place[rows] = np.arange(len(rows))
    inside = (place[pairs.first] >= 0) & (place[pairs.second] >= 0)
    return Pairs(place[pairs.first[inside]], place[pairs.second[inside]], pairs.square[inside])


def _weigh_crowd(
    part: Sightings,
    east: Floats,
    north: Floats,
    variance: Floats,
    yardstick: Yardstick,
    rows: Codes,
    crowd: Pairs,
) -> Floats:
    density = measure_density(east, north, rows, yardstick.sightings_per_spot)
    odds = weigh_place(crowd, variance[rows], density)
    odds += weigh_warmth(yardstick.warmth, crowd, part.temperature[rows], part.sortie[rows])
    return np.asarray(1 / (1 + np.exp(-np.clip(odds, -50, 50))))
