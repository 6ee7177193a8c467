"""Which sightings are one spot."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from exchange.merge.grouping.linkage import link_completely
from exchange.merge.grouping.pairs import find_pairs_by_accuracy, find_pairs_within
from exchange.merge.sightings import Sightings

Floats = NDArray[np.float64]
Codes = NDArray[np.int64]
Mask = NDArray[np.bool_]

GATE = 9.210
"""Chi-square of 2 degrees of freedom that holds 99 in 100, e.g. NIST/SEMATECH e-Handbook, section 1.3.6.7.4."""


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
        How much worse, natural logarithms of the likelihood.
    is_unsure
        Whether the sighting may as well be part of its rival.
    is_ambiguous
        Whether the group's sightings are not sure, shape (groups,).
    alternatives
        Groups that may be one with a group.
    """

    group: Codes
    rival: Codes
    worse: Floats
    is_unsure: Mask
    is_ambiguous: Mask
    alternatives: Mapping[int, tuple[int, ...]]


def group_sightings(part: Sightings, east: Floats, north: Floats, variance: Floats, *, within_m: float) -> Grouping:
    """Return which sightings are one spot.

    Parameters
    ----------
    part
        The sightings; of one image cannot be one spot.
    east, north
        Metres, shifts taken out.
    variance
        Per axis, square metres.
    within_m
        Bound on the width of a group; NaN to judge by the accuracies.
    """
    if np.isnan(within_m):
        pairs = find_pairs_by_accuracy(east, north, variance, part.image, GATE)
    else:
        pairs = find_pairs_within(east, north, part.image, within_m)
    group = link_completely(len(east), pairs)
    return Grouping(
        group=group,
        rival=np.full(len(east), -1),
        worse=np.full(len(east), np.inf),
        is_unsure=np.zeros(len(east), bool),
        is_ambiguous=np.zeros(int(group.max(initial=-1)) + 1, bool),
        alternatives={},
    )
