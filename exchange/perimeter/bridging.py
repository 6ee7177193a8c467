"""The stretches of a ring that were not flown: joints between flights, open ends and dropouts."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from exchange.perimeter.rings import FoundRing

Floats = NDArray[np.float64]

_SHORTEST_M: Final = 15.0
_COVERED_SHARE: Final = 0.15


class Gap(NamedTuple):
    """Hold a straight stretch that no fix lies on.

    Parameters
    ----------
    ends
        Metres, shape (2, 2).
    is_invented
        Whether the ring is not closed without it.
    """

    ends: Floats
    is_invented: bool

    @property
    def length_m(self) -> float:
        """Metres from end to end."""
        return float(np.hypot(*(self.ends[1] - self.ends[0])))


def find_gaps(rings: Sequence[FoundRing], fixes: Floats, *, is_open: bool, is_drawn: bool) -> list[Gap]:
    """Return the stretches of rings that were bridged by a straight line.

    A stretch along which another pass has fixes was flown all the same. The long sides of a drawn line are no gaps.

    Parameters
    ----------
    rings
        As found.
    fixes
        All kept fixes, metres, shape (n, 2).
    is_open
        Whether the rings are closed by invented stretches.
    is_drawn
        Whether they are drawn lines, in which only what lies between two lines is a gap.
    """
    found = []
    for ring in rings:
        every = [ends for ends in ring.bridges if _length_m(ends) >= _SHORTEST_M]
        if not is_drawn:
            every = ring.gaps(wider_than_m=_SHORTEST_M)
        invented = {ends.tobytes() for ends in map(np.ascontiguousarray, ring.bridges)} if is_open else set()
        for ends in every:
            is_invented = np.ascontiguousarray(ends).tobytes() in invented
            if is_invented or not _is_covered(ends, fixes):
                found.append(Gap(ends, is_invented))
    return found


def _length_m(ends: Floats) -> float:
    return float(np.hypot(*(ends[1] - ends[0])))


def _is_covered(ends: Floats, fixes: Floats) -> bool:
    return bool(len(fixes)) and float(np.hypot(*(fixes - ends.mean(axis=0)).T).min()) < _COVERED_SHARE * _length_m(ends)
