"""Complete linkage in columns: no group is wider than the gate, so nothing chains."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from exchange.merge.grouping.pairs import Pairs, find_islands

Codes = NDArray[np.int64]


def link_completely(count: int, pairs: Pairs) -> Codes:
    """Return the group of each of ``count`` sightings, such that every two of a group are among ``pairs``.

    The groups are those of agglomerative complete linkage (e.g. Müllner, 'Modern hierarchical, agglomerative
    clustering algorithms', arXiv:1109.2378) cut at the widest pair; what is no pair may never be joined. Two groups
    that are each other's nearest are joined, all such couples at once: for complete linkage, which no joining brings
    nearer, this gives the same tree as joining the nearest two one by one. Ties go to the lower rows.

    Parameters
    ----------
    count
        How many sightings there are.
    pairs
        Those that may be one spot.
    """
    island = find_islands(count, pairs)
    whole = mark_cliques(island, pairs)
    group = np.where(whole[island], count + island, np.arange(count))
    rest = pairs.take(~whole[island[pairs.first]])
    return number_groups(_join_nearest(group, rest))


def mark_cliques(island: Codes, pairs: Pairs) -> NDArray[np.bool_]:
    """Return which islands have all their pairs: these are groups at once."""
    size = np.bincount(island)
    found = np.bincount(island[pairs.first], minlength=len(size))
    return np.asarray(found == size * (size - 1) // 2)


def number_groups(group: Codes) -> Codes:
    """Return the groups numbered from 0 by their first members."""
    _, first, code = np.unique(group, return_index=True, return_inverse=True)
    rank = np.empty(len(first), np.int64)
    rank[np.argsort(first)] = np.arange(len(first))
    return rank[code]


def _join_nearest(group: Codes, pairs: Pairs) -> Codes:
    """Join mutually nearest groups until no two of the groups among ``pairs`` may be joined."""
    size = np.ones(len(group), np.int64)
    first, second = np.minimum(pairs.first, pairs.second), np.maximum(pairs.first, pairs.second)
    square, links = pairs.square, np.ones(len(first), np.int64)
    while len(first):
        lower, upper = _find_mutual(first, second, square, len(group))
        size[lower] += size[upper]
        into = np.arange(len(group))
        into[upper] = lower
        group = np.where(group < len(group), into[np.minimum(group, len(group) - 1)], group)
        first, second, square, links = _fold(into[first], into[second], square, links)
        kept = links == size[first] * size[second]
        first, second, square, links = first[kept], second[kept], square[kept], links[kept]
    return group


def _find_mutual(first: Codes, second: Codes, square: NDArray[np.float64], count: int) -> tuple[Codes, Codes]:
    order = np.lexsort((second, first, square))
    place = np.empty(len(order), np.int64)
    place[order] = np.arange(len(order))
    nearest = np.full(count, len(order))
    np.minimum.at(nearest, first, place)
    np.minimum.at(nearest, second, place)
    mutual = (nearest[first] == place) & (nearest[second] == place)
    return first[mutual], second[mutual]


def _fold(
    first: Codes, second: Codes, square: NDArray[np.float64], links: Codes
) -> tuple[Codes, Codes, NDArray[np.float64], Codes]:
    """Return one link per couple of groups: the widest distance, and how many pairs stand behind it."""
    outside = first != second
    low, high = np.minimum(first, second)[outside], np.maximum(first, second)[outside]
    order = np.lexsort((high, low))
    low, high, square, links = low[order], high[order], square[outside][order], links[outside][order]
    if not len(low):
        return low, high, square, links
    begin = np.flatnonzero(np.concatenate([[True], (low[1:] != low[:-1]) | (high[1:] != high[:-1])]))
    return low[begin], high[begin], np.maximum.reduceat(square, begin), np.add.reduceat(links, begin)
