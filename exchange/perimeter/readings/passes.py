"""The flown lines cut into passes: stretches between the same two cells."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from exchange.perimeter.readings.cells import Cells, find_sides

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]
Flags = NDArray[np.bool_]

_SHORTEST_M, _CROSSING_M = 9.0, 28.0


@dataclass(frozen=True, eq=False)
class Passes:
    """Hold all places of all lines, one after the other, and the passes that they make up.

    Attributes
    ----------
    xy
        Metres, shape (n, 2).
    line
        The number of the line of each place.
    first_of_line
        Index of the first place of each line, and one more for the end.
    steps_m
        From one place to the next on each line.
    first
        Index of the first place of each pass, and one more for the end.
    sides
        The cells to the left and to the right of each pass, shape (m, 2).
    links
        From which line on the lines are not flown but thought.
    """

    xy: Floats
    line: Whole
    first_of_line: Whole
    steps_m: Floats
    first: Whole
    sides: Whole
    links: int

    def __len__(self) -> int:
        """Return the number of passes."""
        return len(self.sides)

    @property
    def owner(self) -> Whole:
        """The pass of each place."""
        return np.repeat(np.arange(len(self)), np.diff(self.first))

    @property
    def line_of(self) -> Whole:
        """The line of each pass."""
        return np.asarray(self.line[self.first[:-1]])

    @property
    def length_m(self) -> Floats:
        """The length of each pass."""
        return np.asarray(np.diff(self.first) * self.steps_m[self.line_of])

    def is_edge(self, is_fire: Flags) -> Flags:
        """Tell which passes have fire on one side only."""
        return np.asarray(is_fire[self.sides[:, 0]] != is_fire[self.sides[:, 1]])


def cut_into_passes(cells: Cells, lines: Sequence[Floats], *, links: int) -> Passes:
    """Return the passes of lines in even steps; those from number ``links`` on are thought, not flown."""
    counts = [len(line) for line in lines]
    starts = np.r_[0, np.cumsum(counts)]
    steps = np.array([float(np.hypot(*(line[1] - line[0]))) for line in lines])
    steps = np.array([np.hypot(*np.diff(line, axis=0).T).mean() for line in lines])
    sides, firsts = [], []
    for number, line in enumerate(lines):
        seen = _fill_unknown(find_sides(cells, line, _headings(line)))
        cut = _absorb_crossings(_absorb_short(seen, _SHORTEST_M / steps[number]), _CROSSING_M / steps[number])
        begins = np.r_[0, np.flatnonzero((np.diff(cut, axis=0) != 0).any(axis=1)) + 1]
        firsts.append(begins + starts[number])
        sides.append(cut[begins])
    return Passes(
        np.vstack(lines),
        np.repeat(np.arange(len(lines)), counts),
        starts,
        steps,
        np.r_[np.concatenate(firsts), starts[-1]],
        np.vstack(sides),
        links,
    )


def _headings(line: Floats) -> Floats:
    """Return unit vectors along a line, seen over some places so that noise does not turn them."""
    ahead = line[np.minimum(np.arange(len(line)) + 2, len(line) - 1)] - line[np.maximum(np.arange(len(line)) - 2, 0)]
    return np.asarray(ahead / np.maximum(np.hypot(*ahead.T), 1e-9)[:, None])


def _fill_unknown(sides: Whole) -> Whole:
    """Give places without a cell in sight that of the nearest place along the line that has one."""
    filled = sides.copy()
    for column in filled.T:
        known = np.flatnonzero(column >= 0)
        if not len(known):
            column[:] = 0
            continue
        every = np.arange(len(column))
        after = np.minimum(np.searchsorted(known, every), len(known) - 1)
        before = np.maximum(after - 1, 0)
        nearer = np.abs(known[before] - every) <= np.abs(known[after] - every)
        column[:] = column[np.where(nearer, known[before], known[after])]
    return filled


def _absorb_short(sides: Whole, shortest: float) -> Whole:
    """Give short passes to the longer of their neighbours, the shortest first."""
    sides = sides.copy()
    while True:
        begins = np.r_[0, np.flatnonzero((np.diff(sides, axis=0) != 0).any(axis=1)) + 1, len(sides)]
        length = np.diff(begins)
        if len(length) < 2 or length.min() >= shortest:
            return sides
        # All local minima at once: neighbours of equal length wait for the next round.
        before, after = np.r_[0, length[:-1]], np.r_[length[1:], 0]
        least = (
            (length < shortest)
            & (length <= np.where(before > 0, before, length))
            & (length < np.where(after > 0, after, length + 1))
        )
        for run in np.flatnonzero(least):
            source = begins[run] - 1 if before[run] >= after[run] else begins[run + 1]
            sides[begins[run] : begins[run + 1]] = sides[source]


def _absorb_crossings(sides: Whole, longest: float) -> Whole:
    """Share what a line needs to cross another between before and after: there it runs along nothing."""
    sides = sides.copy()
    begins = np.r_[0, np.flatnonzero((np.diff(sides, axis=0) != 0).any(axis=1)) + 1, len(sides)]
    inner = np.arange(1, max(len(begins) - 2, 1))
    if len(begins) < 4:
        return sides
    before, here, after = (sides[begins[inner + shift]] for shift in (-1, 0, 1))
    is_crossing = (
        (before[:, 0] == before[:, 1])
        & (after[:, 0] == after[:, 1])
        & (np.sort(here, axis=1) == np.sort(np.column_stack([before[:, 0], after[:, 0]]), axis=1)).all(axis=1)
        & (np.diff(begins)[inner] <= longest)
    )
    for run in inner[is_crossing].tolist():
        middle = (begins[run] + begins[run + 1]) // 2
        sides[begins[run] : middle] = sides[begins[run] - 1]
        sides[middle : begins[run + 1]] = sides[begins[run + 1]]
    return sides
