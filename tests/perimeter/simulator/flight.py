"""A flight with its truth: what was logged at each fix and what the aircraft did there."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from typing import Self

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Flight:
    """Hold one log, one fix a row, with the truth beside it.

    Attributes
    ----------
    places
        Logged metres east and north, (n, 2).
    seconds
        Logged time; NaN where the log has none.
    doing
        Truth: ``ring``, ``transit``, ``ground``, ``hover``, ``loop`` (to look again), ``crossing`` (of a waist),
        ``lane``; or what is wrong with the fix: ``spike``, ``frozen``, ``duplicate``.
    ring
        Truth: which ring of the edge it is on, -1 for none.
    along_m
        Truth: how far along that ring, not wrapped; NaN off the ring.
    passing
        Truth: number of the unbroken pass along a ring, -1 for none.
    height
        Logged metres above the launch; NaN where the log has none.
    camera_heading, camera_pitch
        Logged line of sight in degrees; NaN where the log has none.
    """

    places: Floats
    seconds: Floats
    doing: NDArray[np.str_]
    ring: NDArray[np.int64]
    along_m: Floats
    passing: NDArray[np.int64]
    height: Floats
    camera_heading: Floats
    camera_pitch: Floats

    def __len__(self) -> int:
        """Return the number of fixes."""
        return len(self.places)

    def take(self, rows: NDArray[np.int64] | slice) -> Self:
        """Return some fixes in the given order."""
        return replace(self, **{column.name: getattr(self, column.name)[rows] for column in fields(self)})

    @classmethod
    def join(cls, flights: Sequence[Self]) -> Self:
        """Return one log of several."""
        return cls(*(np.concatenate([getattr(one, column.name) for one in flights]) for column in fields(cls)))
