"""How often a sortie reports one spot several times: learned from the sightings, for some lists are tidied before."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from exchange.merge.grouping.pairs import Pairs

Floats = NDArray[np.float64]
Codes = NDArray[np.int64]

SEEN_BY_OTHERS = 0.9
"""As many sightings of a spot another sortie brings in the mean, by which repeats are measured."""

RARE = 0.02
"""Repeated pairs a sighting up to which two of one sortie exclude each other as two of one image do."""

_PRIOR_SIGHTINGS = 30.0
_PRIOR_PAIRS = 0.1
_ROUNDS = 20

_DISTANCE = np.array([0.75, 1.25, 1.75, 2.25, 2.75, 3.25])
_CROWD = np.array([0.3, 0.35, 0.5, 0.65, 0.85, 1.0])
"""How dense the sightings of other spots stand at a normalised distance, against farther away: hot spots that are told
apart keep some distance. Measured on pairs of one image in simulated fires of two densities, which agree to 0.05."""


@dataclass(frozen=True, eq=False)
class Repeats:
    """Hold how often each sortie repeats itself.

    Parameters
    ----------
    pairs
        Pairs of sightings of one spot that each sortie brings, for each of its sightings; NaN where a name may stand
        for several sorties.
    """

    pairs: Floats

    def weigh(self, sortie: Codes) -> Floats:
        """Return what is added to the logarithm of the odds of two sightings of a sortie, beside those of two."""
        share = np.maximum(2 * self.pairs / SEEN_BY_OTHERS, 1e-2)
        return np.where(np.isnan(share), 0.0, np.minimum(np.log(share), 0.0))[sortie]

    def exclude(self, sortie: Codes, image: Codes) -> Floats:
        """Return how far each sighting excludes others of its sortie: 1 where it never repeats itself, 0 if always.

        Where images are known, those that show a spot but once exclude each other already, and little is left to say.
        """
        ratio = np.nan_to_num(np.minimum(RARE / np.maximum(self.pairs, RARE), 1.0), nan=0.0)[sortie]
        return np.where(image < 0, ratio, ratio**3)


def weigh_repeats(pairs: Pairs, sortie: Codes, repeats: Repeats) -> Floats:
    """Return what is added to the logarithm of the odds of each pair: 0 between two sorties."""
    within = sortie[pairs.first] == sortie[pairs.second]
    return np.where(within, repeats.weigh(sortie[pairs.first]), 0.0)


def learn_repeats(pairs: Pairs, sortie: Codes, names: Sequence[str]) -> Repeats:
    """Return how often each sortie repeats itself.

    Distances of repeats are of a Rayleigh distribution, those of other spots grow with the ring; what share of a
    sortie's near pairs is of the one kind is found by expectation-maximisation. Where a sortie has few sightings, all
    together tell.

    Parameters
    ----------
    pairs
        Of sightings not of one image, with normalised squared distances.
    sortie
        Of each sighting.
    names
        Of the sorties; an empty one may stand for several.
    """
    within = sortie[pairs.first] == sortie[pairs.second]
    own, likelier = sortie[pairs.first][within], _compare(pairs.square[within])
    size = np.bincount(sortie, minlength=len(names)).astype(np.float64)
    met = np.maximum(np.bincount(own, minlength=len(names)), 1)
    share = np.full(len(names), 0.5)
    found: Floats = np.zeros(len(names))
    for _ in range(_ROUNDS):
        odds = share[own] * likelier
        found = np.bincount(own, odds / (odds + 1 - share[own]), minlength=len(names)).astype(np.float64)
        share = np.clip(found / met, 1e-6, 1 - 1e-6)
    overall = (found.sum() + _PRIOR_SIGHTINGS * _PRIOR_PAIRS) / (size.sum() + _PRIOR_SIGHTINGS)
    learned = (found + _PRIOR_SIGHTINGS * overall) / (size + _PRIOR_SIGHTINGS)
    return Repeats(np.where([bool(name) for name in names], learned, np.nan))


def _compare(square: Floats) -> Floats:
    """Return how much likelier each normalised squared distance is for a repeat than for two spots."""
    widest = float(np.sqrt(square.max(initial=1.0)))
    steps = (np.arange(200) + 0.5) * widest / 200
    area = float((steps * np.interp(steps, _DISTANCE, _CROWD)).sum() * widest / 200)
    return np.asarray(np.exp(-square / 2) * area / np.interp(np.sqrt(square), _DISTANCE, _CROWD))
