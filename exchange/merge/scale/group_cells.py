"""Grouping cell by cell, with the same answer as grouping all at once.

What decides about two sightings lies within a reach of them: their pair, and the crowd around. So the sightings that
are chained to each other by pairs, an island, can be grouped without the rest. Each cell takes a margin along; where an
island reaches the margin's outer part, the cell is taken again with twice the margin, until the island is whole. The
cell that holds an island's first row answers for it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from exchange.merge.grouping import Grouping, group_sightings
from exchange.merge.grouping.density import FARTHEST_M
from exchange.merge.grouping.linkage import number_groups
from exchange.merge.grouping.pairs import find_islands, find_pairs_by_accuracy, find_pairs_within
from exchange.merge.grouping.weighing import GATE
from exchange.merge.grouping.yardstick import Yardstick
from exchange.merge.scale.boxes import Cells
from exchange.merge.scale.computing import compute_all
from exchange.merge.sightings import Sightings

if TYPE_CHECKING:
    from distributed import Client

Floats = NDArray[np.float64]
Codes = NDArray[np.int64]

_PER_ROW = ("east", "north", "variance", "seconds", "temperature", "sortie", "image", "key", "row")


@dataclass(frozen=True, eq=False)
class Question:
    """Hold what one cell needs to group its islands.

    Parameters
    ----------
    part, variance
        The rows of the cell and its margin, in canonical order; positions with shifts taken out.
    rows
        Their places among all rows.
    is_own
        Which of them lie in the cell itself.
    edge_m
        How far each lies from the outer edge of the margin.
    reach_m
        How far from a sighting nothing bears on it any more.
    yardstick, within_m
        As in ``group_sightings``.
    """

    part: Sightings
    variance: Floats
    rows: Codes
    is_own: NDArray[np.bool_]
    edge_m: Floats
    reach_m: float
    yardstick: Yardstick
    within_m: float


@dataclass(frozen=True, eq=False)
class Answer:
    """Hold the groups of one cell's islands; a group goes by the place of its first row among all rows.

    Parameters
    ----------
    is_whole
        Whether the margin was wide enough for every island of the cell; without it there is nothing else.
    rows, first, rival, worse, is_unsure
        Of the rows that the cell answers for.
    ambiguous
        Its groups that are so.
    alternatives
        By group.
    """

    is_whole: bool
    rows: Codes
    first: Codes
    rival: Codes
    worse: Floats
    is_unsure: NDArray[np.bool_]
    ambiguous: Codes
    alternatives: dict[int, tuple[int, ...]]


def group_cells(
    part: Sightings,
    east: Floats,
    north: Floats,
    variance: Floats,
    yardstick: Yardstick,
    *,
    within_m: float,
    cell_m: float,
    client: Client | None = None,
) -> Grouping:
    """Return what ``group_sightings`` returns for the same arguments, worked out in cells.

    Parameters
    ----------
    part, east, north, variance, yardstick, within_m
        As in ``group_sightings``.
    cell_m
        Side of a cell, metres.
    client
        Of a Dask cluster; without one the cells are worked out in threads of this process.
    """
    if not len(part):
        return group_sightings(part, east, north, variance, yardstick, within_m=within_m)
    cells = Cells.of(east, north, cell_m)
    asking = _Asking(
        replace(part, east=east, north=north),
        variance,
        yardstick,
        within_m,
        cells,
        find_reach_m(variance, within_m),
    )
    return _put_together(len(part), asking.ask_all(client))


@dataclass(frozen=True, eq=False)
class _Asking:
    part: Sightings
    variance: Floats
    yardstick: Yardstick
    within_m: float
    cells: Cells
    reach_m: float

    def ask_all(self, client: Client | None) -> Iterator[Answer]:
        """Yield a whole answer for every cell, in any order."""
        margin_m = 2.0 * self.reach_m
        waiting = list(range(len(self.cells)))
        while waiting:
            cut = []
            questions = (self._question(cell, margin_m) for cell in waiting)
            for cell, found in zip(waiting, compute_all(answer, questions, client=client), strict=True):
                if found.is_whole:
                    yield found
                else:
                    cut.append(cell)
            waiting, margin_m = cut, 2.0 * margin_m

    def _question(self, cell: int, margin_m: float) -> Question:
        rows = self.cells.rows_around(cell, margin_m)
        part = replace(self.part, of_row=np.empty(0, np.int64), **{n: getattr(self.part, n)[rows] for n in _PER_ROW})
        west, east, south, north = self.cells.box(cell, margin_m)
        sides = (part.east - west, east - part.east, part.north - south, north - part.north)
        return Question(
            part=part,
            variance=self.variance[rows],
            rows=rows,
            is_own=np.isin(rows, self.cells.rows_in(cell), assume_unique=True),
            edge_m=np.minimum.reduce(sides),
            reach_m=self.reach_m,
            yardstick=self.yardstick,
            within_m=self.within_m,
        )


def find_reach_m(variance: Floats, within_m: float) -> float:
    """Return how far from a sighting nothing bears on it any more, metres."""
    widest = within_m if np.isfinite(within_m) else float(np.sqrt(2.0 * GATE * variance.max()))
    return max(widest, FARTHEST_M) * (1.0 + 1e-9)


def answer(question: Question) -> Answer:
    """Return the groups of the islands whose first row lies in the cell, or that the margin was too narrow."""
    part, variance, within_m = question.part, question.variance, question.within_m
    island = _find_islands(question)
    concerned = np.zeros(len(part), bool)
    concerned[island[question.is_own]] = True
    near_edge = question.edge_m <= question.reach_m
    if np.any(concerned[island[near_edge]]):
        return _no_answer()
    found = group_sightings(part, part.east, part.north, variance, question.yardstick, within_m=within_m)
    lowest = _first_of(island)
    mine = np.flatnonzero(question.is_own[lowest])
    first = question.rows[_first_of(found.group)]
    named = np.append(question.rows[np.unique(found.group, return_index=True)[1]], -1)
    held = np.unique(found.group[mine])
    return Answer(
        is_whole=True,
        rows=question.rows[mine],
        first=first[mine],
        rival=named[found.rival[mine]],
        worse=found.worse[mine],
        is_unsure=found.is_unsure[mine],
        ambiguous=named[held[found.is_ambiguous[held]]],
        alternatives=_rename(found, held.tolist(), named),
    )


def _find_islands(question: Question) -> Codes:
    """Return a code per row, from 0 to the number of rows, shared by the rows that pairs chain together."""
    part = question.part
    if np.isfinite(question.within_m):
        pairs = find_pairs_within(part.east, part.north, part.image, question.within_m)
    else:
        pairs = find_pairs_by_accuracy(part.east, part.north, question.variance, part.image, GATE)
    return find_islands(len(part), pairs)


def _first_of(code: Codes) -> Codes:
    """Return for each row the first row with the same code."""
    _, first, inverse = np.unique(code, return_index=True, return_inverse=True)
    return np.asarray(first[inverse])


def _rename(found: Grouping, groups: Iterable[int], named: Codes) -> dict[int, tuple[int, ...]]:
    told = {group: found.alternatives[group] for group in groups if group in found.alternatives}
    return {int(named[one]): tuple(int(named[other]) for other in others) for one, others in told.items()}


def _no_answer() -> Answer:
    none, no_numbers = np.empty(0, np.int64), np.empty(0)
    return Answer(False, none, none, none, no_numbers, np.empty(0, bool), none, {})


def _put_together(count: int, answers: Iterable[Answer]) -> Grouping:
    """Return the grouping of all rows, its groups numbered by their first rows."""
    first, rival = np.empty(count, np.int64), np.empty(count, np.int64)
    worse, is_unsure = np.empty(count), np.empty(count, bool)
    ambiguous: list[Codes] = []
    alternatives: dict[int, tuple[int, ...]] = {}
    for one in answers:
        first[one.rows], rival[one.rows] = one.first, one.rival
        worse[one.rows], is_unsure[one.rows] = one.worse, one.is_unsure
        ambiguous.append(one.ambiguous)
        alternatives |= one.alternatives
    group = number_groups(first)
    code = np.append(group, -1)
    is_ambiguous = np.zeros(int(group.max()) + 1, bool)
    is_ambiguous[group[np.concatenate(ambiguous)]] = True
    renamed = {int(group[one]): tuple(sorted(int(group[o]) for o in others)) for one, others in alternatives.items()}
    return Grouping(
        group=group,
        rival=code[rival],
        worse=worse,
        is_unsure=is_unsure,
        is_ambiguous=is_ambiguous,
        alternatives=dict(sorted(renamed.items())),
    )
