"""How sure a grouping is: what the data cannot decide is said, with the alternatives."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from exchange.merge.grouping.pairs import Pairs

Floats = NDArray[np.float64]
Codes = NDArray[np.int64]
Mask = NDArray[np.bool_]

UNSURE = 2.2
"""Natural logarithm of the odds (9 to 1) below which a sighting may as well be part of its rival. The odds leave out
much that nobody knows: on crowded simulated fires these three bounds flag 9 in 10 spots that are wrong, and 4 in 10
that are right."""

MAY_BE_ONE = 0.06
"""Mean probability from which two groups that were kept apart may be one."""

HARDLY_ONE = 0.7
"""Mean probability within a group below which it may be several."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Grouping:
    """Hold the group of each sighting, and how sure that is.

    Attributes
    ----------
    group
        From 0 without gaps, shape (n,).
    rival
        The group that explains the sighting second best; -1 where none is near.
    worse
        How much worse, natural logarithms of the odds; infinity without a rival.
    is_unsure
        Whether the sighting may as well be part of its rival.
    is_ambiguous
        Whether it is not sure which sightings the group has, shape (groups,).
    alternatives
        Groups that may be one with a group.
    """

    group: Codes
    rival: Codes
    worse: Floats
    is_unsure: Mask
    is_ambiguous: Mask
    alternatives: Mapping[int, tuple[int, ...]] = field(default_factory=dict)


def find_doubts(group: Codes, pairs: Pairs, probability: Floats) -> Grouping:
    """Return the grouping with what is doubtful about it.

    Parameters
    ----------
    group
        Of each sighting, from 0 without gaps.
    pairs, probability
        Pairs that may be one spot, and how likely they are; what is no pair is impossible.
    """
    size = np.bincount(group, minlength=1)
    holder, toward, affinity = _measure_affinity(group, size, pairs, probability)
    own, rival, best = _rank(group, size, holder, toward, affinity)
    alone = size[group] == 1
    worse = np.where(rival >= 0, _logit(np.where(alone, 1 - best, own)) - _logit(best), np.inf)
    is_unsure = worse < UNSURE
    weak = np.bincount(group, np.where(alone, 1.0, own), minlength=len(size)) / np.maximum(size, 1) < HARDLY_ONE
    is_ambiguous = weak | (np.bincount(group, is_unsure, minlength=len(size)) * 2 >= np.maximum(size, 2))
    return Grouping(
        group=group,
        rival=rival,
        worse=worse,
        is_unsure=is_unsure,
        is_ambiguous=is_ambiguous[: int(group.max(initial=-1)) + 1],
        alternatives=_find_alternatives(group, size, pairs, probability),
    )


def _measure_affinity(group: Codes, size: Codes, pairs: Pairs, probability: Floats) -> tuple[Codes, Codes, Floats]:
    """Return for each sighting and each group near it the mean probability over the group's other sightings."""
    sighting = np.concatenate([pairs.first, pairs.second])
    toward = group[np.concatenate([pairs.second, pairs.first])]
    order = np.lexsort((toward, sighting))
    sighting, toward = sighting[order], toward[order]
    weight = np.concatenate([probability, probability])[order]
    if not len(sighting):
        return sighting, toward, weight
    begin = np.flatnonzero(np.concatenate([[True], (np.diff(sighting) != 0) | (np.diff(toward) != 0)]))
    sighting, toward = sighting[begin], toward[begin]
    others = size[toward] - (group[sighting] == toward)
    return sighting, toward, np.add.reduceat(weight, begin) / np.maximum(others, 1)


def _rank(group: Codes, size: Codes, holder: Codes, toward: Codes, affinity: Floats) -> tuple[Floats, Codes, Floats]:
    """Return the affinity of each sighting to its own group, its rival, and the affinity to that."""
    own, best = np.zeros(len(group)), np.zeros(len(group))
    rival = np.full(len(group), -1)
    inside = group[holder] == toward
    own[holder[inside]] = affinity[inside]
    # All alone, one of an island that needed no weighing, is as sure as can be.
    own[(own == 0) & (size[group] > 1)] = 1.0
    outside = np.flatnonzero(~inside)
    outside = outside[np.lexsort((-toward[outside], affinity[outside]))]
    rival[holder[outside]] = toward[outside]
    best[holder[outside]] = affinity[outside]
    return own, rival, best


def _logit(probability: Floats) -> Floats:
    bounded = np.clip(probability, 1e-9, 1 - 1e-9)
    return np.asarray(np.log(bounded / (1 - bounded)))


def _find_alternatives(group: Codes, size: Codes, pairs: Pairs, probability: Floats) -> dict[int, tuple[int, ...]]:
    first, second = group[pairs.first], group[pairs.second]
    apart = (first != second) & (probability > MAY_BE_ONE / 10)
    low, high = np.minimum(first, second)[apart], np.maximum(first, second)[apart]
    couple, index = np.unique(low * len(size) + high, return_inverse=True)
    total = np.bincount(index, probability[apart], minlength=len(couple))
    low, high = couple // len(size), couple % len(size)
    close = total / (size[low] * size[high]) >= MAY_BE_ONE
    found: dict[int, list[int]] = {}
    for a, b in zip(low[close].tolist(), high[close].tolist(), strict=True):
        found.setdefault(a, []).append(b)
        found.setdefault(b, []).append(a)
    return {one: tuple(sorted(others)) for one, others in found.items()}
