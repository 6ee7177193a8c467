"""A short path through points from a fixed first one: nearest neighbour, then 2-opt and Or-opt by neighbour lists.

The moves are those of G. A. Croes (Operations Research 6:791, 1958) and I. Or (dissertation, Northwestern
University, 1976); neighbour lists and don't-look bits are those of J. L. Bentley (ORSA Journal on Computing 4:387,
1992). Then small pieces of the path are exchanged and it is improved again, and what is not shorter is taken back.
The same points give the same path.
"""

from __future__ import annotations

import random
from math import dist

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

NEIGHBOURS = 10
LONGEST_SEGMENT = 3
KICKS_A_POINT, MOST_KICKS = 20, 1_000
_KICK_SPAN = 50
_MOST_MOVED = 100_000_000
"""Points of a path times the longest stretch that one move may turn round, so that a long list stays quick."""


def find_short_path(points: Floats) -> NDArray[np.int64]:
    """Return the rows of points in the order of a short path that begins at the first and ends anywhere.

    Parameters
    ----------
    points
        Coordinates of one length unit, shape (n, d).
    """
    if len(points) < 3:
        return np.arange(len(points))
    neighbours = _find_neighbours(points)
    path = _Path(points, neighbours, _go_to_nearest(points, neighbours))
    path.improve(list(path.order))
    path.exchange_pieces(min(MOST_KICKS, KICKS_A_POINT * len(points)))
    return np.array(path.order, np.int64)


def _find_neighbours(points: Floats) -> NDArray[np.int64]:
    """Return the nearest points of each, itself left out, shape (n, k)."""
    from scipy.spatial import cKDTree

    count = min(NEIGHBOURS, len(points) - 1)
    _, found = cKDTree(points).query(points, k=count + 1)
    # Of points in one place the query may not put the point itself first.
    own = found == np.arange(len(points))[:, None]
    own[~own.any(axis=1), -1] = True
    return np.asarray(found[~own].reshape(len(points), count), np.int64)


def _go_to_nearest(points: Floats, neighbours: NDArray[np.int64]) -> list[int]:
    """Return the path that always goes on to the nearest point that it has not been at."""
    near = neighbours.tolist()
    is_left = np.ones(len(points), np.bool_)
    here, order = 0, [0]
    is_left[0] = False
    for _ in range(len(points) - 1):
        here = next((there for there in near[here] if is_left[there]), -1)
        if here < 0:
            left = np.flatnonzero(is_left)
            here = int(left[np.argmin(((points[left] - points[order[-1]]) ** 2).sum(axis=1))])
        is_left[here] = False
        order.append(here)
    return order


class _Path:
    """A path while it is improved; every move is made of stretches that are turned round, so each can be undone."""

    def __init__(self, points: Floats, neighbours: NDArray[np.int64], order: list[int]) -> None:
        self.points: list[tuple[float, ...]] = [tuple(point) for point in points.tolist()]
        self.near: list[list[int]] = neighbours.tolist()
        self.order = order
        self.place = [0] * len(order)
        for place, point in enumerate(order):
            self.place[point] = place
        # Less than this is the noise of the sums; taken for a gain it could be found without end.
        self.least = 1e-12 * max(1e-300, float(np.abs(points).max()))
        self.longest = max(1_000, _MOST_MOVED // len(order))
        self.turned: list[tuple[int, int]] = []

    def measure(self, first: int, second: int) -> float:
        """Return the distance of two points; -1 stands for none, before the start or behind the end."""
        return 0.0 if first < 0 or second < 0 else dist(self.points[first], self.points[second])

    def at(self, place: int) -> int:
        return self.order[place] if 0 <= place < len(self.order) else -1

    def turn(self, first: int, last: int) -> None:
        """Turn a stretch of the path round, both places included."""
        if first >= last:
            return
        self.turned.append((first, last))
        stretch = self.order[first : last + 1]
        stretch.reverse()
        self.order[first : last + 1] = stretch
        place = self.place
        for position, point in enumerate(stretch, first):
            place[point] = position

    def undo(self) -> None:
        """Take back every move since the record of them was cleared."""
        while self.turned:
            self.turn(*self.turned.pop())
            self.turned.pop()

    def improve(self, waiting: list[int]) -> float:
        """Look from each waiting point for moves that shorten the path until there are none; return the gain."""
        queue, is_waiting = waiting[::-1], set(waiting)
        gained = 0.0
        while queue:
            point = queue.pop()
            is_waiting.discard(point)
            while True:
                gain, touched = self.turn_better(point)
                if gain <= 0.0:
                    gain, touched = self.move_better(point)
                if gain <= 0.0:
                    break
                gained += gain
                for other in touched:
                    if other >= 0 and other not in is_waiting:
                        is_waiting.add(other)
                        queue.append(other)
        return gained

    def turn_better(self, point: int) -> tuple[float, tuple[int, ...]]:
        """Make the first 2-opt move that joins a point to a near one and shortens the path."""
        here = self.place[point]
        for side in (1, -1):
            beside = self.at(here + side)
            if beside < 0:
                continue
            broken = self.measure(point, beside)
            for other in self.near[point]:
                joined = self.measure(point, other)
                if joined >= broken:
                    break
                there = self.place[other]
                beyond = self.at(there + side)
                gain = broken - joined + self.measure(other, beyond) - self.measure(beside, beyond)
                # The start stays: what is turned round begins behind it.
                first, last = _find_stretch(here, there, side)
                if gain > self.least and first > 0 and last - first < self.longest:
                    self.turn(first, last)
                    return gain, (point, beside, other, beyond)
        return 0.0, ()

    def move_better(self, point: int) -> tuple[float, tuple[int, ...]]:
        """Make the first Or-opt move that puts a short segment ending in the point beside a near one."""
        here = self.place[point]
        for side in (1, -1):
            for length in range(LONGEST_SEGMENT):
                far = here + side * length
                first, last = min(here, far), max(here, far)
                if first < 1 or last >= len(self.order):
                    break
                before, behind, end = self.at(first - 1), self.at(last + 1), self.order[far]
                freed = self.measure(before, self.order[first]) + self.measure(self.order[last], behind)
                freed -= self.measure(before, behind)
                for other in self.near[point]:
                    joined = self.measure(point, other)
                    if joined >= freed:
                        break
                    moved = self.try_beside(first, last, point, end, other, freed - joined)
                    if moved:
                        return moved[0], (before, behind, point, end, *moved[1])
        return 0.0, ()

    def try_beside(
        self, first: int, last: int, point: int, end: int, other: int, left: float
    ) -> tuple[float, tuple[int, ...]] | None:
        """Move the segment from one place to another to where its point lies beside the other, if that is shorter."""
        there = self.place[other]
        if first <= there <= last:
            return None
        for side in (1, -1):
            beside = self.at(there + side)
            if side < 0 and there == 0:
                continue
            if beside >= 0 and first <= self.place[beside] <= last:
                continue
            gain = left + self.measure(other, beside) - self.measure(end, beside)
            span = max(last, there) - min(first, there)
            if gain > self.least and span < self.longest:
                self.carry(first, last, min(there, there + side), is_turned=(self.order[first] == point) != (side > 0))
                return gain, (other, beside)
        return None

    def carry(self, first: int, last: int, behind: int, *, is_turned: bool) -> None:
        """Put the segment behind the point at a place outside it."""
        length = last - first + 1
        if behind > last:
            self.turn(first, last)
            self.turn(last + 1, behind)
            self.turn(first, behind)
            start = behind - length + 1
        else:
            self.turn(first, last)
            self.turn(behind + 1, first - 1)
            self.turn(behind + 1, last)
            start = behind + 1
        if is_turned:
            self.turn(start, start + length - 1)

    def exchange_pieces(self, times: int) -> None:
        """Exchange two neighbouring pieces of the path, improve it there, and keep what is shorter."""
        draw = random.Random(len(self.order))  # noqa: S311  # which piece is tried, no secret
        if len(self.order) < 5:
            return
        for _ in range(times):
            self.turned.clear()
            first = draw.randrange(1, len(self.order) - 2)
            cuts = sorted(draw.sample(range(first, min(first + _KICK_SPAN, len(self.order))), 2))
            touched = self.swap_pieces(first, cuts[0], cuts[1])
            if touched and touched[0] + self.improve(list(touched[1])) <= self.least:
                self.undo()

    def swap_pieces(self, first: int, middle: int, last: int) -> tuple[float, tuple[int, ...]] | None:
        """Exchange the pieces from first to middle and behind it to last; return the gain, and what was touched."""
        ends = (self.at(first - 1), self.at(first), self.at(middle), self.at(middle + 1), self.at(last))
        beyond = self.at(last + 1)
        before = self.measure(ends[0], ends[1]) + self.measure(ends[2], ends[3]) + self.measure(ends[4], beyond)
        after = self.measure(ends[0], ends[3]) + self.measure(ends[4], ends[1]) + self.measure(ends[2], beyond)
        self.turn(first, middle)
        self.turn(middle + 1, last)
        self.turn(first, last)
        return before - after, tuple(point for point in (*ends, beyond) if point >= 0)


def _find_stretch(here: int, there: int, side: int) -> tuple[int, int]:
    """Return the first and last place to turn round so that two places come to lie side by side."""
    low, high = min(here, there), max(here, there)
    return (low + 1, high) if side > 0 else (low, high - 1)
