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


def share_between_rivals(pairs: Pairs, odds: Floats, image: Codes, sortie: Codes, exclusive: Floats) -> Floats:
    """Return for each pair how likely it is one spot, given that of one image only one sighting can be it.

    Between two images any sighting of the one goes with at most one of the other. How likely each couple is over all
    such assignments, each weighted by the product of its odds, is found by sum-product message passing (belief
    propagation for matchings, Williams and Lau, 'Approximate evaluation of marginal association probabilities with
    belief propagation', arXiv:1209.6299, from memory), which is exact where the couples form no ring. Sightings of one
    sortie that are not of one image exclude each other in part.

    Parameters
    ----------
    pairs
        Of sightings, none of one image.
    odds
        Natural logarithm of the odds that each pair is one spot, by itself.
    image
        Of each sighting; a code of its own where none is known.
    sortie
        Of each sighting.
    exclusive
        How far each sighting excludes others of its sortie, from 0 to 1.
    """
    alone = np.exp(np.clip(odds, -_MOST_ODDS, _MOST_ODDS))
    rivals = _find_rivals(pairs, image, sortie, exclusive)
    chance = np.concatenate([alone, alone])[rivals.entry]
    free = np.ones(2 * len(pairs))
    for _ in range(_ROUNDS):
        claim = chance * free[rivals.reverse]
        of_image = np.bincount(rivals.image, claim)[rivals.image]
        of_sortie = np.bincount(rivals.sortie, claim)[rivals.sortie]
        others = of_image - claim + rivals.exclusive * (of_sortie - of_image)
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
    image, sortie
        Code of the sighting and the image or the sortie in which its partner lies; shared by rivals.
    exclusive
        How far others of the partner's sortie exclude it.
    """

    entry: Codes
    reverse: Codes
    image: Codes
    sortie: Codes
    exclusive: Floats


def _find_rivals(pairs: Pairs, image: Codes, sortie: Codes, exclusive: Floats) -> _Rivals:
    count = len(pairs)
    owner, partner = np.concatenate([pairs.first, pairs.second]), np.concatenate([pairs.second, pairs.first])
    of_sortie, rivals = _code_couples(owner, sortie[partner])
    entry = np.flatnonzero(rivals > 1)
    owner, partner = owner[entry], partner[entry]
    return _Rivals(
        entry=entry,
        reverse=(entry + count) % max(2 * count, 1),
        image=_code_couples(owner, np.unique(image, return_inverse=True)[1][partner])[0],
        sortie=of_sortie[entry],
        exclusive=exclusive[partner],
    )


def _code_couples(owner: Codes, other: Codes) -> tuple[Codes, Codes]:
    """Return a code for each couple, from 0, and how often it is there."""
    couple = owner * (int(other.max(initial=0)) + 1) + other
    _, code, size = np.unique(couple, return_inverse=True, return_counts=True)
    return code, size[code]
