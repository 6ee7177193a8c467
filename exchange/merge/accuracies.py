"""The accuracy of sightings whose file states none."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from exchange.merge.shifts import Shifts
from exchange.merge.sightings import Sightings

Floats = NDArray[np.float64]


def fill_accuracies(part: Sightings, shifts: Shifts) -> Floats:
    """Return the variance per axis of each sighting: as stated, or that of its sortie as estimated."""
    return np.where(np.isnan(part.variance), shifts.variance[part.sortie], part.variance)
