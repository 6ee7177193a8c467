"""The last step of a grouping: a sighting that fits another group better moves there, until none does.

Average linkage goes on by joining alone and never takes back what it joined first. How well a sighting fits a group is
the mean of what its pairs with all the others say above the least at which groups are joined, times the root of their
number: several tell more than one, but less than as many that know nothing of each other, for all of them share the
sighting's own error.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from exchange.merge.grouping.pairs import Pairs

Floats = NDArray[np.float64]
Codes = NDArray[np.int64]
Mask = NDArray[np.bool_]

LEAST_GAIN = 0.1
"""A sighting moves only for so much: what is as good either way stays."""

_MOST_ROUNDS = 50


def settle(group: Codes, pairs: Pairs, probability: Floats, least: float) -> Codes:
    """Return the groups after moving single sightings, to another group or out alone, until no move gains.

    Of the moves that touch one group only the best is made at a time.

    Parameters
    ----------
    group
        Of each sighting, from 0, below the number of sightings.
    pairs, probability
        Those that may be one spot, and how likely they are; what is no pair never comes into one group.
    least
        As in ``link_by_mean``.
    """
    count = len(group)
    group = group.copy()
    owner = np.concatenate([pairs.first, pairs.second])
    other = np.concatenate([pairs.second, pairs.first])
    value = np.concatenate([probability, probability]) - least
    is_open = np.ones(count, bool)
    for _ in range(_MOST_ROUNDS):
        entry = np.flatnonzero(is_open[owner])
        moves = _find_moves(owner[entry], group[other[entry]], value[entry], group)
        made = moves.take(_choose_apart(moves, 2 * count))
        if not len(made.sighting):
            break
        changed = np.zeros(2 * count, bool)
        changed[made.source] = changed[made.target] = True
        group[made.sighting] = made.target
        is_open[:] = False
        is_open[moves.sighting] = True
        is_open[owner[changed[group[other]]]] = True
        is_open |= changed[group]
    return group


@dataclass(frozen=True, eq=False)
class _Moves:
    sighting: Codes
    source: Codes
    target: Codes
    gain: Floats

    def take(self, chosen: Mask) -> _Moves:
        return _Moves(self.sighting[chosen], self.source[chosen], self.target[chosen], self.gain[chosen])


def _find_moves(owner: Codes, toward: Codes, value: Floats, group: Codes) -> _Moves:
    """Return the best move of each sighting that gains by one; to be alone is to be the group of one's own code."""
    count = len(group)
    size = np.bincount(group, minlength=2 * count)
    couple, index, met = np.unique(owner * (2 * count) + toward, return_inverse=True, return_counts=True)
    fit = np.bincount(index, value, minlength=len(couple)) / np.sqrt(met)
    sighting, target = couple // (2 * count), couple % (2 * count)
    stays = target == group[sighting]
    own = np.zeros(count)
    own[sighting[stays]] = fit[stays]
    is_whole = ~stays & (met == size[target])
    leaves = np.flatnonzero(own < 0)
    sighting = np.concatenate([sighting[is_whole], leaves])
    target = np.concatenate([target[is_whole], count + leaves])
    gain = np.concatenate([fit[is_whole], np.zeros(len(leaves))]) - own[sighting]
    gains = np.flatnonzero(gain > LEAST_GAIN)
    gains = gains[np.lexsort((target[gains], -gain[gains], sighting[gains]))]
    best = gains[np.unique(sighting[gains], return_index=True)[1]]
    return _Moves(sighting[best], group[sighting[best]], target[best], gain[best])


def _choose_apart(moves: _Moves, codes: int) -> Mask:
    """Return which moves are the best of all that touch their groups."""
    turn = np.empty(len(moves.sighting), np.int64)
    turn[np.lexsort((moves.sighting, -moves.gain))] = np.arange(len(moves.sighting))
    first = np.full(codes, len(moves.sighting))
    np.minimum.at(first, moves.source, turn)
    np.minimum.at(first, moves.target, turn)
    return np.asarray((first[moves.source] == turn) & (first[moves.target] == turn))
