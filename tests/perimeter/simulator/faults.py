"""What receivers and logs do to a flight, each a function of a random generator and a flight."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter

from tests.perimeter.simulator.flight import Flight

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]


def slow_noise(random: np.random.Generator, count: int, hertz: float, sigma: float, memory_seconds: float) -> Floats:
    """Return noise that keeps its value for a while (first-order autoregression), shape (count,)."""
    keep = np.exp(-1.0 / (hertz * memory_seconds))
    pushes = random.standard_normal(count) * sigma * np.sqrt(1 - keep**2)
    if count:
        pushes[0] = random.standard_normal() * sigma
    return lfilter([1.0], [1.0, -keep], pushes)


def receiver_noise(
    random: np.random.Generator, flight: Flight, hertz: float, sigma_m: float, memory_seconds: float
) -> Flight:
    """Move every fix by slow noise of ``sigma_m`` an axis and a tenth of it fresh at each fix."""
    count = len(flight)
    slow = np.column_stack([slow_noise(random, count, hertz, sigma_m, memory_seconds) for _ in range(2)])
    return replace(flight, places=flight.places + slow + random.normal(0, 0.1 * sigma_m, (count, 2)))


def spikes(random: np.random.Generator, flight: Flight, count: int = 0) -> Flight:
    """Throw single fixes 20-500 m off."""
    rows = _some_rows(random, flight, count or max(3, len(flight) // 150), 1)
    return _throw(random, flight, [np.array([row]) for row in rows])


def bursts(random: np.random.Generator, flight: Flight) -> Flight:
    """Throw runs of 2-8 fixes 20-500 m off, all about the same way."""
    rows = _some_rows(random, flight, max(2, len(flight) // 400), 9)
    return _throw(random, flight, [np.arange(row, row + random.integers(2, 9)) for row in rows])


def repeats(random: np.random.Generator, flight: Flight) -> Flight:
    """Log some fixes two or three times over."""
    times = np.where(random.random(len(flight)) < 0.03, random.integers(2, 4, len(flight)), 1)
    order = np.repeat(np.arange(len(flight)), times)
    repeated = flight.take(order)
    return replace(repeated, doing=np.where(np.diff(order, prepend=-1) == 0, "duplicate", repeated.doing))


def frozen(random: np.random.Generator, flight: Flight, hertz: float) -> Flight:
    """Log one place for 2-6 seconds while the aircraft flies on, here and there."""
    places, doing = flight.places.copy(), flight.doing.copy()
    for row in _some_rows(random, flight, max(2, len(flight) // 500), round(6 * hertz) + 1):
        still = slice(row + 1, row + 1 + max(1, round(random.uniform(2.0, 6.0) * hertz)))
        places[still], doing[still] = places[row], "frozen"
    return replace(flight, places=places, doing=doing)


def shuffled(random: np.random.Generator, flight: Flight) -> Flight:
    """Put some rows, and one block of them, into the wrong place; their times stay right."""
    order = np.arange(len(flight))
    for row in _some_rows(random, flight, max(2, len(flight) // 100), 4):
        order[row : row + 4] = random.permutation(order[row : row + 4])
    if len(order) > 60:
        first, length = random.integers(0, len(order) - 40), random.integers(5, 20)
        block, rest = order[first : first + length].copy(), np.delete(order, slice(first, first + length))
        order = np.insert(rest, random.integers(0, len(rest)), block)
    return flight.take(order)


def clock_jumps(random: np.random.Generator, flight: Flight) -> Flight:
    """Set the clock forward or back once or twice in the middle of a flight; the rows stay in order."""
    seconds = flight.seconds.copy()
    for row in _some_rows(random, flight, int(random.integers(1, 3)), 1):
        seconds[row:] += random.choice([-1.0, 1.0]) * 10 ** random.uniform(0.3, 3.6)
    return replace(flight, seconds=seconds)


def dropouts(random: np.random.Generator, flight: Flight, hertz: float) -> Flight:
    """Lose the fixes of 2-10 seconds, several times."""
    kept = np.ones(len(flight), bool)
    for row in _some_rows(random, flight, max(2, len(flight) // 300), 1):
        kept[row : row + max(1, round(random.uniform(2.0, 10.0) * hertz))] = False
    return flight.take(np.flatnonzero(kept))


def timeless(flight: Flight) -> Flight:
    """Take all times away, as in a drawn line."""
    return replace(flight, seconds=np.full(len(flight), np.nan))


def jitter(random: np.random.Generator, flight: Flight) -> Flight:
    """Let the fixes dance by 1-3 m while the aircraft stands."""
    still = np.isin(flight.doing, ("hover", "ground"))[:, None]
    return replace(flight, places=flight.places + still * random.normal(0, random.uniform(1, 3), (len(flight), 2)))


def _throw(random: np.random.Generator, flight: Flight, runs: list[Whole]) -> Flight:
    places, doing = flight.places.copy(), flight.doing.copy()
    for rows in runs:
        reach, turn = 10 ** random.uniform(np.log10(20), np.log10(500)), random.uniform(0, 2 * np.pi)
        places[rows] += reach * np.array([np.cos(turn), np.sin(turn)]) + random.normal(0, 0.03 * reach, (len(rows), 2))
        doing[rows] = "spike"
    return replace(flight, places=places, doing=doing)


def _some_rows(random: np.random.Generator, flight: Flight, count: int, room: int) -> Whole:
    """Return rows spread over a flight, the ends and ``room`` rows between them left out."""
    candidates = np.arange(2, max(3, len(flight) - room - 2), room + 1)
    return np.sort(random.choice(candidates, min(count, len(candidates)), replace=False))
