"""The legs of a plan: along a ring, to and fro, standing still, a loop to look again; and flying them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from tests.perimeter.simulator.edges import Ring
from tests.perimeter.simulator.flight import Flight

Floats = NDArray[np.float64]
_INNER_HERTZ = 10.0
_INERTIA_SECONDS = 0.4


@dataclass(frozen=True)
class Leg:
    """One thing done: the places passed, the speed, and where along a ring they are.

    A leg of one place repeated and ``seconds`` is standing still.
    """

    places: Floats
    doing: str
    speed: float = 6.0
    ring: int = -1
    along_m: Floats | None = None
    seconds: float = 0.0


def along_ring(ring: Ring, number: int, start_m: float, distance_m: float, speed: float) -> Leg:
    """Fly along a ring; a negative distance runs clockwise."""
    along = start_m + np.linspace(0.0, distance_m, max(2, round(abs(distance_m) / 1.0)))
    return Leg(ring.at(along), "ring", speed, number, along)


def straight(start: Floats, end: Floats, speed: float = 11.0, *, doing: str = "transit") -> Leg:
    """Fly straight from one place to another."""
    return Leg(np.linspace(start, end, 12), doing, speed)


def bent(random: np.random.Generator, start: Floats, end: Floats, speed: float = 11.0) -> Leg:
    """Fly a leg that bends to one side, with a slow weave."""
    ahead = end - start
    side = np.array([-ahead[1], ahead[0]]) * random.uniform(0.15, 0.45) * random.choice([-1, 1])
    share = np.linspace(0.0, 1.0, 80)[:, None]
    weave = 0.04 * np.sin(2 * np.pi * share * random.integers(1, 4)) * np.array([-ahead[1], ahead[0]])
    return Leg(start + share * ahead + np.sin(np.pi * share) * side + weave * np.sin(np.pi * share), "transit", speed)


def stand(place: Floats, seconds: float, doing: str) -> Leg:
    """Stay at a place."""
    return Leg(np.repeat(np.atleast_2d(place), 2, axis=0), doing, seconds=seconds)


def look_again(random: np.random.Generator, ring: Ring, along_m: float, direction: float, speed: float) -> Leg:
    """Fly a small circle that leaves the ring and comes back to where it left."""
    place, beyond = ring.at(np.array([along_m, along_m + direction]))
    ahead = (beyond - place) / np.hypot(*(beyond - place))
    side = np.array([-ahead[1], ahead[0]]) * random.choice([-1.0, 1.0])
    radius, turn = random.uniform(5.0, 20.0), np.linspace(0.0, 2 * np.pi, 60)[:, None]
    return Leg(place + radius * (side - np.cos(turn) * side + np.sin(turn) * ahead), "loop", speed)


def fly(random: np.random.Generator, legs: Sequence[Leg], hertz: float) -> Flight:
    """Return the true places at equal times, speed wandering a little and corners taken as mass allows."""
    places = np.vstack([leg.places for leg in legs])
    seconds = np.concatenate([_durations(random, leg) for leg in legs]).cumsum()
    leg_of = np.repeat(np.arange(len(legs)), [len(leg.places) for leg in legs])
    inner = np.arange(0.0, seconds[-1], 1.0 / _INNER_HERTZ)
    flown = np.column_stack([np.interp(inner, seconds, column) for column in places.T])
    flown = gaussian_filter1d(flown, _INERTIA_SECONDS * _INNER_HERTZ, axis=0, mode="nearest")
    times = np.arange(0.0, inner[-1] if len(inner) else 0.0, 1.0 / hertz)
    leg_at = leg_of[np.minimum(np.searchsorted(seconds, times, side="right"), len(leg_of) - 1)]
    along = np.concatenate([np.full(len(leg.places), np.nan) if leg.along_m is None else leg.along_m for leg in legs])
    is_ring = np.array([leg.ring >= 0 for leg in legs])[leg_at]
    known = np.where(np.isfinite(along), along, 0.0)
    count = len(times)
    return Flight(
        np.column_stack([np.interp(times, inner, column) for column in flown.T]),
        times,
        np.array([leg.doing for leg in legs]).astype("U9")[leg_at],
        np.array([leg.ring for leg in legs])[leg_at],
        np.where(is_ring, np.interp(times, seconds, known), np.nan),
        np.where(is_ring, leg_at, -1),
        np.full(count, np.nan),
        np.full(count, np.nan),
        np.full(count, np.nan),
    )


def _durations(random: np.random.Generator, leg: Leg) -> Floats:
    """Return the seconds from each place of a leg to the next; the first is a blink after the leg before."""
    if leg.seconds:
        return np.array([1e-6, leg.seconds])
    steps = np.hypot(*np.diff(leg.places, axis=0).T)
    wander = 1.0 + 0.2 * np.sin(np.linspace(0, random.uniform(2, 12), len(steps)) + random.uniform(0, 6))
    return np.concatenate([[1e-6], np.maximum(steps / (leg.speed * wander), 1e-6)])
