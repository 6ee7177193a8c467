"""Legs: the straight or evenly bent way between the launch and the edge, as far as one end of a path shows it."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_EVEN_M, _EVEN_SHARE = 1.5, 0.012
_SHORTEST_LEG_M = 20.0
_CORNER_M = 18.0
_NO_EVIDENCE = 0.12


class Leg(NamedTuple):
    """Hold the leg at the start of a path.

    Parameters
    ----------
    end
        Index of the place where the leg ends and the edge may begin; 0 is no leg.
    length_m
        Along the path.
    weight
        What each metre of it costs if it is taken into a ring: from about 0.1, no more than an even stretch, upwards.
    """

    end: int
    length_m: float
    weight: float


def find_leg(xy: Floats, speed: Floats) -> Leg:
    """Return the leg at the start of a path of even steps.

    It is the longest start that one even bend (a quadratic curve) explains, cut at the sharpest corner near its end.
    That it is flown faster or slower than the rest, and is more even than any stretch of its length in the rest,
    speaks for a leg.

    Parameters
    ----------
    xy
        Metres, shape (n, 2).
    speed
        Metres per second at each place, NaN where it is not known.
    """
    along = np.r_[0.0, np.cumsum(np.hypot(*np.diff(xy, axis=0).T))]
    if len(xy) < 12 or along[-1] < 2 * _SHORTEST_LEG_M:
        return Leg(0, 0.0, 0.0)
    last = _longest_even_start(xy, along)
    if along[last] < _SHORTEST_LEG_M:
        return Leg(0, 0.0, 0.0)
    end = _sharpest_corner(xy, along, last)
    weight = _NO_EVIDENCE + _speak_of_shape(xy, along, end) + _speak_of_speed(speed, end)
    return Leg(end, float(along[end]), weight)


def unevenness_m(xy: Floats) -> float:
    """Return how far a path departs from one even bend, root mean square metres."""
    if len(xy) < 4:
        return 0.0
    share = np.linspace(-1.0, 1.0, len(xy))
    basis = np.column_stack([np.ones_like(share), share, share**2])
    rest = xy - basis @ np.linalg.lstsq(basis, xy, rcond=None)[0]
    return float(np.sqrt((rest**2).sum(axis=1).mean()))


def is_even(xy: Floats) -> bool:
    """Tell whether a whole path is one even bend, as a leg is."""
    length = float(np.hypot(*np.diff(xy, axis=0).T).sum())
    return unevenness_m(xy) <= 2.0 * _EVEN_M + _EVEN_SHARE * length


def _longest_even_start(xy: Floats, along: Floats) -> int:
    """Return the last index of the longest start that is even; lengths are tried in steps of some percent."""
    tried = np.unique(np.geomspace(6, len(xy) - 1, 90).astype(np.int64))
    found = 0
    misses = 0
    for end in tried.tolist():
        if unevenness_m(_sparse(xy[: end + 1])) <= _EVEN_M + _EVEN_SHARE * along[end]:
            found, misses = end, 0
        else:
            misses += 1
            if misses > 4 and along[end] > 1.3 * along[found] + 30.0:
                break
    return found


def _sharpest_corner(xy: Floats, along: Floats, last: int) -> int:
    low = np.searchsorted(along, along[last] - max(0.35 * along[last], 40.0))
    places = np.arange(max(int(low), 2), min(last + 3, len(xy) - 2))
    if not len(places):
        return last
    before = xy[np.searchsorted(along, np.maximum(along[places] - _CORNER_M, 0.0))]
    after = xy[np.minimum(np.searchsorted(along, along[places] + _CORNER_M), len(xy) - 1)]
    into, out = xy[places] - before, after - xy[places]
    turn = np.abs(np.arctan2(into[:, 0] * out[:, 1] - into[:, 1] * out[:, 0], (into * out).sum(axis=1)))
    return int(places[np.argmax(turn)]) if turn.max() > np.radians(25.0) else last


def _speak_of_shape(xy: Floats, along: Floats, end: int) -> float:
    """Return how much more even the start is than stretches of its length in the rest."""
    rest = np.arange(end, len(xy))
    if len(rest) <= end + 2:
        return 0.25
    starts = np.linspace(end, len(xy) - end - 1, 24).astype(np.int64)
    others = np.array([unevenness_m(_sparse(xy[start : start + end + 1])) for start in starts])
    mine = max(unevenness_m(_sparse(xy[: end + 1])), 1.0)
    ratio = float(np.quantile(others, 0.1)) / mine
    return float(np.clip(0.15 * (ratio - 1.0), 0.0, 0.6))


def _speak_of_speed(speed: Floats, end: int) -> float:
    """Return how much the speed of the start differs from that of the rest."""
    start, rest = speed[: end + 1], speed[end:]
    start, rest = start[np.isfinite(start)], rest[np.isfinite(rest)]
    if len(start) < 5 or len(rest) < 5:
        return 0.0
    usual, spread = np.median(rest), np.subtract(*np.quantile(rest, [0.8, 0.2]))
    difference = abs(np.median(start) - usual)
    return float(np.clip(2.0 * (difference / max(usual, 1e-6) - 0.12), 0.0, 1.0)) if difference > spread else 0.0


def _sparse(xy: Floats) -> Floats:
    return xy if len(xy) <= 80 else xy[np.linspace(0, len(xy) - 1, 80).astype(np.int64)]
