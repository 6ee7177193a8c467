"""Sightings of two sorties whose shift against each other is not known, and whose files state no accuracy."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from exchange.merge.grouping.pairs import Pairs

Floats = NDArray[np.float64]
Codes = NDArray[np.int64]
Mask = NDArray[np.bool_]

UNKNOWN_SHIFT_M = 2.5
"""Standard deviation per axis of a shift that nothing tells, 3 to 4 m in all: what receivers of
the usual kind are off (from memory)."""

_MOST_SHARED = 0.8


@dataclass(frozen=True, kw_only=True, eq=False)
class Ties:
    """Hold which sorties hang together, and how much those that do not may have in common.

    Attributes
    ----------
    net
        Code of each sortie; those of one net are measured against each other.
    couple, odds
        Codes of couples of sorties of two nets, in order, and the logarithm of the odds that a sighting of the one is
        of a spot that the other saw as well.
    """

    net: Codes
    couple: Codes
    odds: Floats

    def tie(self, is_fixed: Mask) -> Ties:
        """Return the ties where some sorties are measured against the same points besides."""
        return (
            replace(self, net=np.where(is_fixed, self.net[np.argmax(is_fixed)], self.net)) if is_fixed.any() else self
        )

    def mark_untied(self, pairs: Pairs, sortie: Codes, is_stated: Mask) -> Mask:
        """Return which pairs are of two nets and not both of stated accuracy, which would include the shift."""
        apart = self.net[sortie[pairs.first]] != self.net[sortie[pairs.second]]
        return np.asarray(apart & ~(is_stated[pairs.first] & is_stated[pairs.second]))

    def weigh(self, pairs: Pairs, sortie: Codes, variance: Floats, density: Floats) -> Floats:
        """Return the logarithm of the odds that pairs of two nets are one spot.

        As in ``weigh_place``, with the unknown shifts of both added to the noise.
        """
        sum_of_both = variance[pairs.first] + variance[pairs.second]
        widened = sum_of_both + 2 * UNKNOWN_SHIFT_M**2
        around = np.sqrt(density[pairs.first] * density[pairs.second])
        place = -pairs.square * sum_of_both / (2 * widened) - np.log(2 * np.pi * widened * around)
        return np.asarray(place + self._look_up(_code(pairs, sortie, len(self.net))))

    def _look_up(self, couple: Codes) -> Floats:
        if not len(self.couple):
            return np.zeros(len(couple))
        place = np.minimum(np.searchsorted(self.couple, couple), len(self.couple) - 1)
        return np.where(self.couple[place] == couple, self.odds[place], 0.0)


def learn_ties(pairs: Pairs, sortie: Codes, net: Codes) -> Ties:
    """Return how much every two sorties of two nets may have in common: as many as have a sighting of the other near.

    Where two sorties flew over ground of their own and only meet at its border, that is little.

    Parameters
    ----------
    pairs
        Of sightings near each other.
    sortie
        Of each sighting.
    net
        Of each sortie.
    """
    pairs = pairs.take(net[sortie[pairs.first]] != net[sortie[pairs.second]])
    couple, index = np.unique(_code(pairs, sortie, len(net)), return_inverse=True)
    size = np.bincount(sortie, minlength=len(net))
    sides = (couple // len(net), couple % len(net))
    holder = np.concatenate([index, index])
    rows = np.concatenate([pairs.first, pairs.second])
    holder, rows = np.unique(np.column_stack([holder, rows]), axis=0).T
    share = np.zeros(len(couple))
    for side in sides:
        met = np.bincount(holder[sortie[rows] == side[holder]], minlength=len(couple))
        share = np.maximum(share, (met + 0.5) / (size[side] + 1))
    share = np.minimum(share, _MOST_SHARED)
    return Ties(net=net, couple=couple, odds=np.log(share / (1 - share)))


def _code(pairs: Pairs, sortie: Codes, count: int) -> Codes:
    first, second = sortie[pairs.first], sortie[pairs.second]
    return np.minimum(first, second) * count + np.maximum(first, second)
