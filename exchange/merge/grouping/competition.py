"""Sightings of one image compete: at most one of them is the spot that a sighting of elsewhere shows."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from exchange.merge.grouping.pairs import Pairs

Floats = NDArray[np.float64]
Codes = NDArray[np.int64]

_ROUNDS = 6
_MOST_ODDS = 50.0


def share_between_rivals(pairs: Pairs, odds: Floats, image: Codes) -> Floats:
    """Return for each pair how likely it is one spot, given that of one image only one sighting can be it.

    Between two images any sighting of the one goes with at most one of the other. How likely each couple is over all
    such assignments, each weighted by the product of its odds, is found by sum-product message passing (belief
    propagation for matchings, Williams and Lau, 'Approximate evaluation of marginal association probabilities with
    belief propagation', arXiv:1209.6299, from memory), which is exact where the couples form no ring.

    Parameters
    ----------
    pairs
        Of sightings, none of one image.
    odds
        Natural logarithm of the odds that each pair is one spot, by itself.
    image
        Of each sighting; a code of its own where none is known.
    """
    alone = np.exp(np.clip(odds, -_MOST_ODDS, _MOST_ODDS))
    rivals = _find_rivals(pairs, image)
    chance = np.concatenate([alone, alone])[rivals.entry]
    free = np.ones(2 * len(pairs))
    for _ in range(_ROUNDS):
        claim = chance * free[rivals.reverse]
        others = np.bincount(rivals.contest, claim)[rivals.contest] - claim
        free[rivals.entry] = 1 / (1 + np.maximum(others, 0.0))
    shared = alone * free[: len(pairs)] * free[len(pairs) :]
    return shared / (1 + shared)


@dataclass(frozen=True, eq=False)
class _Rivals:
    """Hold the entries that have rivals; entry ``k`` is pair ``k`` from its first side, ``n + k`` from its second.

    Parameters
    ----------
    entry
        Which.
    reverse
        The same pair from the other side.
    contest
        Code of the sighting and the image in which its partner lies; shared by rivals.
    """

    entry: Codes
    reverse: Codes
    contest: Codes


def _find_rivals(pairs: Pairs, image: Codes) -> _Rivals:
    count = len(pairs)
    owner = np.concatenate([pairs.first, pairs.second])
    partner = np.unique(image, return_inverse=True)[1][np.concatenate([pairs.second, pairs.first])]
    contest = owner * (int(partner.max(initial=0)) + 1) + partner
    _, code, size = np.unique(contest, return_inverse=True, return_counts=True)
    entry = np.flatnonzero(size[code] > 1)
    return _Rivals(entry, (entry + count) % max(2 * count, 1), code[entry])
