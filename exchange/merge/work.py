"""All that a merge has worked out, before it is written as tables."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from exchange.merge.continuing import Basis
from exchange.merge.fusing import Fused
from exchange.merge.grouping import Grouping
from exchange.merge.numbering import Numbering
from exchange.merge.shifts import Shifts
from exchange.merge.sightings import Sightings

Floats = NDArray[np.float64]
Codes = NDArray[np.int64]


@dataclass(frozen=True, kw_only=True, eq=False)
class Work:
    """Hold the steps' results.

    Attributes
    ----------
    basis
        All rows.
    part
        Those that take part, in canonical order.
    shifts
        Of the sorties.
    east, north, variance
        Of the sightings that take part, shifts taken out, accuracies filled in.
    grouping, fused, numbering
        The groups, their places and their numbers.
    """

    basis: Basis
    part: Sightings
    shifts: Shifts
    east: Floats
    north: Floats
    variance: Floats
    grouping: Grouping
    fused: Fused
    numbering: Numbering

    @property
    def group(self) -> Codes:
        """The group of each sighting that takes part."""
        return self.grouping.group

    def spread_groups(self) -> Codes:
        """Return the group of each row of the basis; -1 where it has none."""
        place = self.part.of_row
        group = np.where(place >= 0, self.group[place] if len(self.group) else -1, -1)
        contained = np.flatnonzero(self.basis.is_contained)
        group[contained] = group[self.basis.told + self.basis.known[contained]]
        return group
