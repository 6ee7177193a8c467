"""Legs: the straight or evenly bent way between the launch and the edge, as far as one end of a path shows it."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]

_SAMPLES = 64
_SHORTEST_LEG_M = 20.0
_CORNER_M = 15.0
_SHARP_DEGREES = 42.0
_NO_EVIDENCE = 0.12
_WAIT_SECONDS, _CLIMB_M = 8.0, 12.0
_LAUNCH_WITHIN_M = 20.0
_SPEAKS = 0.45
# What a place counts for a leg, in squared departures from its bend.
_WORTH = 5.0
_DEPARTURE_M, _DEPARTURE_SHARE, _BEND_SHARE = 1.2, 0.002, 0.013


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


def find_launches(ends: Floats, waits: Floats, climbs_m: Floats) -> Floats:
    """Return what speaks, beside their form, for legs at the ends of flights, shape (n, 2).

    A log that ends on the ground waits or is low there; several flights that share a place share a launch.

    Parameters
    ----------
    ends
        Metres, shape (n, 2, 2): flight, first or last place, coordinates.
    waits
        Seconds spent at the ends, shape (n, 2).
    climbs_m
        How far below the usual altitude the ends lie, shape (n, 2); NaN where not known.
    """
    found = np.where(waits > _WAIT_SECONDS, _SPEAKS, 0.0) + np.where(climbs_m > _CLIMB_M, 2.0 * _SPEAKS, 0.0)
    places = ends.reshape(-1, 2)
    apart = np.hypot(*(places[:, None] - places[None]).transpose(2, 0, 1))
    shared = (apart < _LAUNCH_WITHIN_M).sum(axis=1).reshape(-1, 2)
    return np.asarray(found + np.where((shared >= 3) & (len(ends) > 1), 2.0 * _SPEAKS, 0.0))


def find_leg(xy: Floats, speed: Floats) -> Leg:
    """Return the leg at the start of a path of even steps.

    It is the start that one even bend (a polynomial of low degree) explains best: each place near the bend counts for
    it, each place off the bend against it, so that the edge after a long leg is not taken in. That it is flown faster
    or slower than the rest, and is more even than any stretch of its length in the rest, speaks for a leg.

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
    end = _sharpest_corner(xy, along, _best_start(xy, along))
    if along[end] < _SHORTEST_LEG_M:
        return Leg(0, 0.0, 0.0)
    weight = _NO_EVIDENCE + _speak_of_shape(xy, along, end) + _speak_of_speed(speed, end)
    return Leg(end, float(along[end]), weight)


def is_even(xy: Floats, *, corners: int = 0) -> bool:
    """Tell whether a whole path is one even bend, as a leg is, or several with so many corners between them."""
    along = np.r_[0.0, np.cumsum(np.hypot(*np.diff(xy, axis=0).T))]
    departure = unevenness_m(xy, np.zeros(1, np.int64), np.array([len(xy) - 1]), degree=2)[0]
    if departure <= 2.5 + 0.012 * along[-1]:
        return True
    if not corners or len(xy) < 16:
        return False
    places = np.arange(3, len(xy) - 3)
    corner = int(places[np.argmax(_turns(xy, along, places))])
    return is_even(xy[: corner + 1], corners=corners - 1) and is_even(xy[corner:], corners=corners - 1)


def unevenness_m(xy: Floats, starts: Whole, ends: Whole, *, degree: int = 4) -> Floats:
    """Return how far stretches of a path depart from one even bend each, root mean square metres.

    Parameters
    ----------
    xy
        Metres, shape (n, 2), even steps.
    starts, ends
        Indices of the first and last place of each stretch.
    degree
        Of the polynomial that stands for an even bend.
    """
    share = np.linspace(0.0, 1.0, _SAMPLES)
    rows = np.rint(starts[:, None] + share * (ends - starts)[:, None]).astype(np.int64)
    basis = np.linalg.qr(np.vander(share, degree + 1))[0]
    sampled = xy[rows] - xy[rows[:, :1]]
    rest = sampled - (basis @ basis.T) @ sampled
    return np.asarray(np.sqrt((rest**2).sum(axis=2).mean(axis=1)))


def _best_start(xy: Floats, along: Floats) -> int:
    """Return the last index of the start that an even bend explains best; rough first, then place by place."""
    rough = np.unique(np.geomspace(5, len(xy) - 1, 80).astype(np.int64))
    best = int(rough[np.argmax(_gain(xy, along, rough))])
    around = np.arange(max(5, int(0.85 * best)), min(len(xy) - 1, int(1.12 * best) + 2) + 1)
    around = around[:: max(1, len(around) // 150)]
    return int(around[np.argmax(_gain(xy, along, around))])


def _gain(xy: Floats, along: Floats, ends: Whole) -> Floats:
    allowed = _DEPARTURE_M + _DEPARTURE_SHARE * along[ends]
    starts = np.zeros_like(ends)
    gain = (ends + 1.0) * (_WORTH - (unevenness_m(xy, starts, ends) / allowed) ** 2)
    # A straight way and a turn at its end is a leg and the start of the edge, though a supple curve fits both.
    is_one_bend = unevenness_m(xy, starts, ends, degree=2) <= _DEPARTURE_M + _BEND_SHARE * along[ends]
    return np.asarray(np.where(is_one_bend, gain, -np.inf))


def _sharpest_corner(xy: Floats, along: Floats, last: int) -> int:
    """Return where the leg ends: at the first sharp corner, for a leg has none, or at the sharpest near its end."""
    places = np.arange(2, min(int(np.searchsorted(along, along[last] + 6.0)) + 1, len(xy) - 2))
    if not len(places):
        return last
    turn = _turns(xy, along, places)
    turn[along[places] < _SHORTEST_LEG_M] = 0.0
    sharp = np.flatnonzero(turn > np.radians(_SHARP_DEGREES))
    start = int(sharp[0]) if len(sharp) else int(np.searchsorted(along[places], along[last] - 20.0))
    if start >= len(places):
        return last
    near = turn[start:][along[places[start:]] <= along[places[start]] + _CORNER_M]
    return int(places[start + np.argmax(near)]) if len(near) and near.max() > np.radians(25.0) else last


def _turns(xy: Floats, along: Floats, places: Whole) -> Floats:
    """Return by how much the path turns at places, radians, seen over some metres before and after."""
    before = xy[np.searchsorted(along, np.maximum(along[places] - _CORNER_M, 0.0))]
    after = xy[np.minimum(np.searchsorted(along, along[places] + _CORNER_M), len(xy) - 1)]
    into, out = xy[places] - before, after - xy[places]
    return np.asarray(np.abs(np.arctan2(into[:, 0] * out[:, 1] - into[:, 1] * out[:, 0], (into * out).sum(axis=1))))


def _speak_of_shape(xy: Floats, along: Floats, end: int) -> float:
    """Return how much more even the start is than stretches of its length in the rest."""
    if len(xy) - end <= end + 2:
        return 0.25
    starts = np.linspace(end, len(xy) - end - 1, 24).astype(np.int64)
    others = unevenness_m(xy, starts, starts + end)
    mine = max(float(unevenness_m(xy, np.zeros(1, np.int64), np.array([end]))[0]), 1.0)
    return float(np.clip(0.15 * (np.quantile(others, 0.1) / mine - 1.0), 0.0, 0.6))


def _speak_of_speed(speed: Floats, end: int) -> float:
    """Return how much the speed of the start differs from that of the rest."""
    start, rest = speed[: end + 1], speed[end:]
    start, rest = start[np.isfinite(start)], rest[np.isfinite(rest)]
    if len(start) < 5 or len(rest) < 5:
        return 0.0
    usual, spread = np.median(rest), np.subtract(*np.quantile(rest, [0.8, 0.2]))
    difference = abs(np.median(start) - usual)
    return float(np.clip(2.0 * (difference / max(usual, 1e-6) - 0.12), 0.0, 1.0)) if difference > spread else 0.0
