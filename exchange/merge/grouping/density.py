"""How dense the spots stand around a sighting."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Codes = NDArray[np.int64]

NEIGHBOURS = 30
FEWER = 10
"""Where the thirtieth is too far."""

FARTHEST_M = 40.0
"""No neighbour is looked for beyond, so that what is far away changes nothing here."""

_PRIOR_SPOTS, _PRIOR_M2 = 1.0, 200.0
"""Taken for seen beforehand: one spot on 200 square metres; it only bears on places with hardly any neighbours."""


def measure_density(east: Floats, north: Floats, rows: Codes, sightings_per_spot: float) -> Floats:
    """Return how many spots a square metre stand around some sightings, by their thirtieth neighbours.

    Parameters
    ----------
    east, north
        Of all sightings, metres.
    rows
        Those that are asked for.
    sightings_per_spot
        As many sightings make a spot, in the mean.
    """
    from scipy.spatial import cKDTree

    if not len(rows):
        return np.full(len(rows), _PRIOR_SPOTS / _PRIOR_M2)
    places = np.column_stack([east, north])
    tree = cKDTree(places, balanced_tree=False, compact_nodes=False)
    # The nearest is the sighting itself; where there are fewer, the tree answers infinity.
    found = tree.query(places[rows], [FEWER + 1, NEIGHBOURS + 1], distance_upper_bound=FARTHEST_M)[0]
    has_fewer, has_all = np.isfinite(found).T
    counted = np.where(has_all, NEIGHBOURS, np.where(has_fewer, FEWER, 0))
    reach = np.where(has_all, found[:, 1], np.where(has_fewer, found[:, 0], FARTHEST_M))
    return np.asarray((counted / sightings_per_spot + _PRIOR_SPOTS) / (np.pi * reach**2 + _PRIOR_M2))
