"""How likely two sightings are of one spot, by their places."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from exchange.merge.grouping.pairs import Pairs

Floats = NDArray[np.float64]

ELBOW_ROOM = 0.2
"""How dense other spots stand within the noise of one, as a share of the density around: hot spots that are told
apart at all keep some distance. Found on simulated fires; the result hardly changes between 0.05 and 0.5."""


def weigh_place(pairs: Pairs, variance: Floats, density: Floats) -> Floats:
    """Return for each pair how much likelier its distance is for one spot than for two, as a logarithm.

    For one spot the difference is normal with the sum of the variances; for two it is spread evenly with the density
    of other spots.

    Parameters
    ----------
    pairs
        With normalised squared distances.
    variance
        Of each sighting per axis, square metres.
    density
        Spots a square metre around each sighting.
    """
    sum_of_both = variance[pairs.first] + variance[pairs.second]
    around = np.sqrt(density[pairs.first] * density[pairs.second])
    return np.asarray(-pairs.square / 2 - np.log(2 * np.pi * ELBOW_ROOM * sum_of_both * around))
