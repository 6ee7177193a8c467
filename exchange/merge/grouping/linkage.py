"""Agglomerative linkage in columns, many joinings at once, with pairs that may never be in one group.

Two groups that are each other's nearest are joined, all such couples at once. For complete and for average linkage,
in which a joining brings nothing nearer, this gives the same groups as joining the nearest two one by one
(Müllner, 'Modern hierarchical, agglomerative clustering algorithms', arXiv:1109.2378, on reciprocal nearest
neighbours). Ties go to the lower rows. Two groups are joined only if every two of their sightings are among the
pairs, so no group is wider than the widest pair and nothing chains.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from exchange.merge.grouping.pairs import Pairs, find_islands

Floats = NDArray[np.float64]
Codes = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class _Links:
    """Hold one link per couple of groups: the sum or the largest of its pairs' costs, and how many pairs it has."""

    first: Codes
    second: Codes
    cost: Floats
    pairs: Codes

    def take(self, chosen: NDArray[np.bool_]) -> _Links:
        return _Links(self.first[chosen], self.second[chosen], self.cost[chosen], self.pairs[chosen])


def link_completely(count: int, pairs: Pairs) -> Codes:
    """Return the group of each of ``count`` sightings by complete linkage cut at the widest pair.

    Parameters
    ----------
    count
        How many sightings there are.
    pairs
        Those that may be one spot; what is no pair may never be joined.
    """
    return link_rest(*split_cliques(count, pairs))


def split_cliques(count: int, pairs: Pairs) -> tuple[Codes, Pairs]:
    """Return the island of each sighting that is a group at once, or -1, and the pairs of the others."""
    island = find_islands(count, pairs)
    whole = mark_cliques(island, pairs)
    return np.where(whole[island], island, -1), pairs.take(~whole[island[pairs.first]])


def link_rest(clique: Codes, rest: Pairs) -> Codes:
    """Return the groups of complete linkage where ``split_cliques`` was first."""
    joined = _join(len(clique), rest, rest.square, np.inf, is_mean=False)
    return number_groups(np.where(clique >= 0, len(clique) + clique, joined))


def link_by_mean(count: int, pairs: Pairs, probability: Floats, least: float) -> Codes:
    """Return the group of each of ``count`` sightings by average linkage of the pairs' probabilities.

    Two groups are joined where the mean probability over all pairs between them is at least ``least``.

    Parameters
    ----------
    count
        How many sightings there are.
    pairs
        Those that may be one spot; what is no pair may never be joined.
    probability
        That a pair is one spot.
    least
        Between 0 and 1.
    """
    likely = probability >= least
    island = find_islands(count, pairs.take(likely))
    inside = island[pairs.first] == island[pairs.second]
    pairs, probability, likely = pairs.take(inside), probability[inside], likely[inside]
    whole = mark_cliques(island, pairs.take(likely))
    rest = ~whole[island[pairs.first]]
    joined = _join(count, pairs.take(rest), 1 - probability[rest], 1 - least, is_mean=True)
    return number_groups(np.where(whole[island], count + island, joined))


def mark_cliques(island: Codes, pairs: Pairs) -> NDArray[np.bool_]:
    """Return which islands have all their pairs: these are groups at once."""
    size = np.bincount(island)
    found = np.bincount(island[pairs.first], minlength=len(size))
    return np.asarray(found == size * (size - 1) // 2)


def number_groups(group: Codes) -> Codes:
    """Return the groups numbered from 0 by their first members."""
    row = np.arange(len(group))
    first = np.empty(int(group.max(initial=-1)) + 1, np.int64)
    first[group[::-1]] = row[::-1]
    is_first = first[group] == row
    return (np.cumsum(is_first) - 1)[first[group]]


def _join(count: int, pairs: Pairs, cost: Floats, most: float, *, is_mean: bool) -> Codes:
    """Return the group of each sighting, named by its lowest row, once no two groups may be joined any more."""
    group = np.arange(count)
    size = np.ones(count, np.int64)
    links = _Links(
        np.minimum(pairs.first, pairs.second), np.maximum(pairs.first, pairs.second), cost, np.ones(len(cost), np.int64)
    )
    while len(links.first):
        value = links.cost / links.pairs if is_mean else links.cost
        lower, upper, is_open = _find_mutual(links, value, most, count)
        if not len(lower):
            break
        size[lower] += size[upper]
        into = np.arange(count)
        into[upper] = lower
        group = into[group]
        links = _fold(links.take(is_open), into, is_mean=is_mean)
        links = links.take(links.pairs == size[links.first] * size[links.second])
    return group


def _find_mutual(links: _Links, value: Floats, most: float, count: int) -> tuple[Codes, Codes, NDArray[np.bool_]]:
    """Return the couples that are each other's nearest, and which links still matter.

    A link whose two groups have nothing near enough can never come to be used.
    """
    near = value <= most
    order = np.flatnonzero(near)
    order = order[np.lexsort((links.second[order], links.first[order], value[order]))]
    first, second = links.first[order], links.second[order]
    place = np.arange(len(order))
    nearest = np.full(count, len(order))
    nearest[first[::-1]] = place[::-1]
    lowest = np.full(count, len(order))
    lowest[second[::-1]] = place[::-1]
    nearest = np.minimum(nearest, lowest)
    mutual = (nearest[first] == place) & (nearest[second] == place)
    has_near = nearest < len(order)
    return first[mutual], second[mutual], has_near[links.first] | has_near[links.second]


def _fold(links: _Links, into: Codes, *, is_mean: bool) -> _Links:
    """Return the links between the groups after a joining."""
    first, second = into[links.first], into[links.second]
    outside = first != second
    low, high = np.minimum(first, second)[outside], np.maximum(first, second)[outside]
    cost, pairs = links.cost[outside], links.pairs[outside]
    if not len(low):
        return _Links(low, high, cost, pairs)
    order = np.lexsort((cost, high, low))
    low, high, cost, pairs = low[order], high[order], cost[order], pairs[order]
    begin = np.flatnonzero(np.concatenate([[True], (low[1:] != low[:-1]) | (high[1:] != high[:-1])]))
    folded = (np.add if is_mean else np.maximum).reduceat(cost, begin)
    return _Links(low[begin], high[begin], folded, np.add.reduceat(pairs, begin))
