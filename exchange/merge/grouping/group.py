"""Which sightings are one spot."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from exchange.merge.grouping.doubt import Grouping, find_doubts
from exchange.merge.grouping.learning import learn_yardstick
from exchange.merge.grouping.linkage import link_by_mean, link_rest, number_groups, split_cliques
from exchange.merge.grouping.pairs import Pairs, find_pairs_within
from exchange.merge.grouping.settling import settle
from exchange.merge.grouping.weighing import weigh_pairs
from exchange.merge.grouping.yardstick import Yardstick
from exchange.merge.sightings import Sightings, choose_sample

Floats = NDArray[np.float64]
Codes = NDArray[np.int64]

LEAST_MEAN = 0.35
"""Mean probability from which two groups are one. Below a half, because to leave a spot in two costs more pairs than
to take in a stranger; found on simulated fires, flat between 0.3 and 0.4."""


@dataclass(frozen=True, eq=False)
class _Linked:
    group: Codes
    pairs: Pairs
    probability: Floats


def group_sightings(
    part: Sightings,
    east: Floats,
    north: Floats,
    variance: Floats,
    yardstick: Yardstick | None = None,
    *,
    within_m: float,
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
        What the sightings as a whole teach; without one they teach it here.
    within_m
        Bound on the width of a group; NaN to judge by the accuracies.
    """
    if np.isnan(within_m):
        linked = _link_by_accuracy(part, east, north, variance, yardstick or _learn(part, east, north, variance))
        return find_doubts(linked.group, linked.pairs, linked.probability)
    clique, rest = split_cliques(len(east), find_pairs_within(east, north, part.image, within_m))
    return find_doubts(link_rest(clique, rest), rest, 1 - rest.square / within_m**2)


def link_by_accuracy(part: Sightings, east: Floats, north: Floats, variance: Floats, yardstick: Yardstick) -> Codes:
    """Return the groups alone, judged by the accuracies of both, the crowd around and the temperatures."""
    return _link_by_accuracy(part, east, north, variance, yardstick).group


def _learn(part: Sightings, east: Floats, north: Floats, variance: Floats) -> Yardstick:
    rows = choose_sample(part)
    return learn_yardstick(part.take(rows), east[rows], north[rows], variance[rows])


def _link_by_accuracy(part: Sightings, east: Floats, north: Floats, variance: Floats, yardstick: Yardstick) -> _Linked:
    weighed = weigh_pairs(part, east, north, variance, yardstick)
    crowded = weighed.crowded
    group = weighed.island.copy()
    linked = link_by_mean(len(crowded), weighed.pairs, weighed.probability, LEAST_MEAN)
    group[crowded] = len(part) + settle(linked, weighed.pairs, weighed.probability, LEAST_MEAN)
    pairs = Pairs(crowded[weighed.pairs.first], crowded[weighed.pairs.second], weighed.pairs.square)
    return _Linked(number_groups(group), pairs, weighed.probability)
