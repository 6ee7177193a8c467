"""The size and the form of a ring given by its places."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_LOBE_SHARE = 0.08
_LAP_SHARE, _LAP_APART = 0.75, 0.25
# A loop flown to look again: a small circle.
_LOOK_AGAIN_M, _LOOK_AGAIN_SHARE, _LOOK_AGAIN_ROUND = 170.0, 0.35, 0.75


def ring_area_m2(ring: Floats) -> float:
    """Return the area inside a ring that does not repeat its first place (shoelace formula, common practice)."""
    x, y = (ring - ring[0]).T
    return abs(float((x * np.roll(y, -1) - y * np.roll(x, -1)).sum())) / 2.0


def ring_length_m(ring: Floats) -> float:
    """Return the length around a ring that does not repeat its first place."""
    return float(np.hypot(*(np.roll(ring, -1, axis=0) - ring).T).sum())


def measure_along(line: Floats) -> Floats:
    """Return the metres along a line at each of its places, from 0 on."""
    return np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))])


def places_at(line: Floats, along: Floats, wanted: Floats) -> Floats:
    """Return the places at the ``wanted`` metres of a line whose places lie at the metres ``along``, shape (m, 2)."""
    return np.column_stack([np.interp(wanted, along, column) for column in line.T])


def mean_width_m(ring: Floats) -> float:
    """Return twice the area of a ring over its length: the width of a band, the radius of a disc."""
    return 2.0 * ring_area_m2(ring) / max(ring_length_m(ring), 1e-9)


def roundness(ring: Floats) -> float:
    """Return 4 pi area / length squared: 1 for a circle, near 0 for a thread (I. Polsby and R. Popper, 1991)."""
    return 4.0 * np.pi * ring_area_m2(ring) / max(ring_length_m(ring), 1e-9) ** 2


def is_small_circle(loop: Floats) -> bool:
    """Tell whether a loop has the size and the form of one flown to look again."""
    return ring_length_m(loop) < _LOOK_AGAIN_M and roundness(loop) > _LOOK_AGAIN_ROUND


def is_lobe(loop: Floats, host_area_m2: float) -> bool:
    """Tell whether a loop that hangs on a ring is a part of the fire, and not a loop flown to look again."""
    share = ring_area_m2(loop) / max(host_area_m2, 1e-9)
    return _LOBE_SHARE < share <= 1.0 and not (share < _LOOK_AGAIN_SHARE and is_small_circle(loop))


def is_lap(loop: Floats, ring: Floats) -> bool:
    """Tell whether a loop goes around what a ring goes around: much the same area about the same middle."""
    area, other = ring_area_m2(loop), ring_area_m2(ring)
    apart = float(np.hypot(*(loop.mean(axis=0) - ring.mean(axis=0))))
    return min(area, other) > _LAP_SHARE * max(area, other) and apart < _LAP_APART * float(np.sqrt(max(area, other)))
