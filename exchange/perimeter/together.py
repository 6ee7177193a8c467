"""Several flights read together: those readings are taken whose edges go on in each other."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from exchange.perimeter.paths import Path
from exchange.perimeter.stretches import Reading, Stretch, read_path

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]
Flags = NDArray[np.bool_]

_MOST_READINGS = 16
_MOST_ROUNDS = 4
_MOST_PLACES = 400
_CROSSING_M = 30.0
_BESIDE_M, _BESIDE_BREAK_M = 15.0, 60.0
_OVERLAP_COST, _OVERLAP_M = 4.0, 60.0
_GAP_COST, _GAP_M = 0.5, 50.0
_OPEN_COST = 6.0
_TURN_COST, _ARM_STEPS = 3.0, 10


def read_paths(paths: Sequence[Path], launches: Sequence[tuple[float, float]]) -> list[Reading]:
    """Return how each flight is read, so that the readings and the joints between their edges cost least.

    Parameters
    ----------
    paths
        The flights.
    launches
        What speaks for a launch at the start and the end of each (`exchange.perimeter.legs.find_launches`).
    """
    if len(paths) < 2:
        return [
            read_path(path, pair, np.empty(0, np.int64), is_alone=True)[0]
            for path, pair in zip(paths, launches, strict=True)
        ]
    lifted = [_lift(path) for path in paths]
    choices = []
    for index, (path, pair) in enumerate(zip(paths, launches, strict=True)):
        beside = _find_beside(lifted, index, path.step_m)
        choices.append(read_path(path, pair, beside, is_alone=False, most=_MOST_READINGS))
    return _Concert(lifted, choices).agree()


class _Concert:
    """The readings of all flights, changed one at a time until no change costs less."""

    def __init__(self, lifted: list[Floats], choices: list[list[Reading]]) -> None:
        self.lifted, self.choices = lifted, choices
        self.joint = lru_cache(maxsize=None)(self._joint)

    def agree(self) -> list[Reading]:
        chosen = [readings[0] for readings in self.choices]
        cost = self._cost(chosen)
        for _ in range(_MOST_ROUNDS):
            before = cost
            for index, readings in enumerate(self.choices):
                for reading in readings:
                    tried = [*chosen[:index], reading, *chosen[index + 1 :]]
                    if (total := self._cost(tried)) < cost - 1e-9:
                        chosen, cost = tried, total
            if cost == before:
                break
        return chosen

    def _cost(self, chosen: list[Reading]) -> float:
        arcs = [
            (flight, one) for flight, reading in enumerate(chosen) for one in reading.stretches
            if one.is_edge and not one.is_closed
        ]  # fmt: skip
        ends = [(flight, one, end) for flight, one in arcs for end in (0, 1)]
        return sum(reading.cost for reading in chosen) + self._match(ends)

    def _match(self, ends: list[tuple[int, Stretch, int]]) -> float:
        """Return the least cost of joining ends two by two; the surest first where they are many."""
        total = 0.0
        pairs = sorted(
            (self.joint(one, other), i, j)
            for i, one in enumerate(ends) for j, other in enumerate(ends)
            if i < j
        )  # fmt: skip
        free = set(range(len(ends)))
        for cost, i, j in pairs:
            if i in free and j in free:
                free -= {i, j}
                total += cost
        return total

    def _joint(self, one: tuple[int, Stretch, int], other: tuple[int, Stretch, int]) -> float:
        """Return what it costs that one edge goes on in another: they overlap there, or leave a gap."""
        apart = float(np.hypot(*(self._place(one) - self._place(other))[:2]))
        turn = _turn_cost(self._outward(one), -self._outward(other))
        gap = _GAP_COST + apart / _GAP_M + turn
        if one[:2] == other[:2]:
            return min(gap, _OPEN_COST)
        return min(max(self._overlap_cost(one, other), self._overlap_cost(other, one)), gap, _OPEN_COST)

    def _place(self, end: tuple[int, Stretch, int]) -> Floats:
        flight, stretch, which = end
        return np.asarray(self.lifted[flight][stretch.last if which else stretch.first])

    def _outward(self, end: tuple[int, Stretch, int]) -> Floats:
        """Return the direction in which an edge ends."""
        flight, stretch, which = end
        back = max(stretch.first, stretch.last - _ARM_STEPS) if which else min(stretch.last, stretch.first + _ARM_STEPS)
        return np.asarray((self._place(end) - self.lifted[flight][back])[:2])

    def _overlap_cost(self, one: tuple[int, Stretch, int], other: tuple[int, Stretch, int]) -> float:
        """Return what it costs that one edge ends on that half of another which leads to the end it is joined with."""
        flight, stretch, which = other
        middle = (stretch.first + stretch.last) // 2
        first, last = (middle, stretch.last) if which else (stretch.first, middle)
        rows = np.unique(np.linspace(first, last, min(_MOST_PLACES, last - first + 1)).astype(np.int64))
        away = ((self.lifted[flight][rows] - self._place(one)) ** 2).sum(axis=1)
        nearest = int(away.argmin())
        inner = rows[max(nearest - 1, 0)], rows[min(nearest + 1, len(rows) - 1)]
        inward = (self.lifted[flight][inner[1]] - self.lifted[flight][inner[0]])[:2] * (-1.0 if which else 1.0)
        return _OVERLAP_COST * float(np.sqrt(away[nearest])) / _OVERLAP_M + _turn_cost(self._outward(one), inward)


def _turn_cost(into: Floats, out: Floats) -> float:
    cosine = float(into @ out) / max(float(np.hypot(*into) * np.hypot(*out)), 1e-9)
    turn = np.degrees(np.arccos(np.clip(cosine, -1.0, 1.0)))
    return _TURN_COST * float(np.clip((turn - 45.0) / 90.0, 0.0, 1.0))


def _lift(path: Path) -> Floats:
    """Return places with twice their heading as two more coordinates, so that what crosses is far from each other."""
    reach = max(1, round(10.0 / path.step_m))
    rows = np.arange(len(path.even))
    ahead = path.even[np.minimum(rows + reach, len(rows) - 1)] - path.even[np.maximum(rows - reach, 0)]
    turn = 2.0 * np.arctan2(ahead[:, 1], ahead[:, 0])
    return np.column_stack([path.even, _CROSSING_M * np.cos(turn), _CROSSING_M * np.sin(turn)])


def _find_beside(lifted: list[Floats], index: int, step_m: float) -> Whole:
    """Return where a flight begins and ends to run along another, or meets it, the longest stretch first."""
    from scipy.spatial import cKDTree

    others = np.vstack([places for number, places in enumerate(lifted) if number != index])
    runs = []
    for dimensions in (4, 2):
        tree = cKDTree(others[:, :dimensions])
        away = tree.query(lifted[index][:, :dimensions], distance_upper_bound=2 * _BESIDE_M)[0]
        runs += _run_ends(away < _BESIDE_M, round(_BESIDE_BREAK_M / step_m))[:12]
    return np.array(runs, dtype=np.int64)


def _run_ends(is_in: Flags, longest_break: int) -> list[int]:
    """Return the first and last places of runs of places, the longest run first; short breaks do not end one."""
    places = np.flatnonzero(is_in)
    if not len(places):
        return []
    cuts = np.flatnonzero(np.diff(places) > max(longest_break, 1))
    starts, ends = places[np.r_[0, cuts + 1]], places[np.r_[cuts, len(places) - 1]]
    order = np.argsort(starts - ends, kind="stable")
    return [int(place) for run in order for place in (starts[run], ends[run])]
