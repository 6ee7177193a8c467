"""What a reading costs: every stretch that is no edge, every gap in the edge, and every corner that nobody flew."""

from __future__ import annotations

import itertools
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from exchange.perimeter.readings.passes import Passes
from exchange.perimeter.readings.ways import Bends

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]
Flags = NDArray[np.bool_]
Item = tuple[str, float, tuple[int, ...]]

_BEND, _MANY_BENDS = 10.0, 1.5
_DOUBLED, _DOUBLED_M = 2.0, 20.0
_LOOK_AGAIN, _LOOK_AGAIN_M, _LOOK_AGAIN_OPEN_M = 8.0, 170.0, 18.0
_ALL_FLOWN, _MIDDLE_WAY = 40.0, 10.0
_GAP, _GAP_PER_M, _GAP_MOST, _LEAST_GAP_M = 4.0, 20.0 / 150.0, 50.0, 4.0
_CIRCLE, _RING = 16.0, 6.0
_TURNS = (35.0, 80.0, 120.0), (0.0, 25.0, 50.0)
_DEAD_END, _SUPPLE_M = 40.0, 150.0
_ARM_M, _AHEAD_M = 15.0, 20.0
_LEFT_BEFORE_M = 0.0, 5.0, 10.0, 15.0
_LAUNCH, _LOOP = 45.0, 30.0
_STRAIGHT, _USUAL_BENDS = 8.0, 1.5


@dataclass(frozen=True, eq=False)
class LooseEnd:
    """Hold where the edge would have to go on on another pass, and by how much it would turn on each.

    Attributes
    ----------
    turns
        The cost of each turn, and the two passes that must both be edge for it; the smoothest first.
    """

    turns: tuple[tuple[float, int, int], ...]

    def least(self, is_edge: list[bool]) -> float:
        """Return the cost of the smoothest way on."""
        return next((cost for cost, near, far in self.turns if is_edge[near] and is_edge[far]), _DEAD_END)


@dataclass(eq=False)
class Pricing:
    """Price readings of the same passes."""

    passes: Passes
    near_m: float
    launches: list[tuple[float, float]] = field(default_factory=list)
    small_circles: list[int] = field(default_factory=list)

    def __post_init__(self) -> None:
        """Measure what all readings share."""
        passes = self.passes
        self._owner = passes.owner
        self._line_of = passes.line_of
        self._length = passes.length_m
        self._flown_m = float(self._length[self._line_of < passes.links].sum())
        self._along = np.concatenate(
            [
                np.arange(b - a) * s
                for a, b, s in zip(passes.first_of_line[:-1], passes.first_of_line[1:], passes.steps_m, strict=True)
            ]
        )
        self._alone = self._find_beside()
        self._bends = [
            Bends(passes.xy[a:b], s)
            for a, b, s in zip(passes.first_of_line[:-1], passes.first_of_line[1:], passes.steps_m, strict=True)
        ]
        length = np.array(
            [
                (b - a - 1) * s
                for a, b, s in zip(passes.first_of_line[:-1], passes.first_of_line[1:], passes.steps_m, strict=True)
            ]
        )
        is_link = np.arange(len(length)) >= passes.links
        self._stiffness = np.where(is_link, np.clip(1.0 - length / _SUPPLE_M, 0.0, 1.0), 1.0)
        self._straight = self._find_straight()
        self._ways: dict[tuple[int, int], tuple[float, float, float]] = {}
        self._loops_of: dict[tuple[int, int], int] = {}
        self._ends: dict[tuple[int, int], LooseEnd] = {}
        self._known: dict[bytes, float] = {}
        first = np.flatnonzero(np.diff(self._line_of, prepend=-1))
        pairs = np.unique(np.sort(passes.sides, axis=1), axis=0)
        self._neighbours = [(one, other) for one, other in pairs.tolist() if one != other]
        self._circles = self._find_rims()
        self._grounds = self._find_grounds()
        self._runs_of_line = list(zip(first.tolist(), [*first[1:].tolist(), len(passes)], strict=True))
        self._inner = [self._is_inner_start(row) for row in range(len(passes) + 1)]

    def price(self, is_fire: Flags) -> float:
        """Return what a reading costs."""
        key = is_fire.tobytes()
        if key not in self._known:
            self._known[key] = sum(cost for _, cost, _ in self.explain(is_fire))
        return self._known[key]

    def explain(self, is_fire: Flags) -> list[Item]:
        """Return every item that a reading costs, and the passes or places that it is about."""
        flags = self.passes.is_edge(is_fire)
        is_edge = flags.tolist()
        alone = self._measure_alone(flags).tolist()
        items: list[Item] = []
        for line, (begin, end) in enumerate(self._runs_of_line):
            if line >= self.passes.links:
                items += self._explain_link(line, sum(alone[row] for row in range(begin, end) if is_edge[row]))
                continue
            items += self._explain_line(begin, end, is_edge, alone)
        items += self._explain_circles(flags)
        items.append(("rings", _RING * max(0, self._count_areas(is_fire.tolist()) - 2), ()))
        items += self._explain_launches(is_edge)
        items.append(("straight", float(self._straight @ flags), ()))
        return items

    def _explain_line(self, begin: int, end: int, is_edge: list[bool], alone: list[float]) -> list[Item]:
        """Return what one flight costs; a way that runs along an edge for a while, flown anyhow, may be one way."""
        cuts = [row for row in range(begin + 1, end) if is_edge[row] != is_edge[row - 1]]
        items: list[Item] = []
        way: tuple[int, int] | None = None
        for first, last in itertools.pairwise([begin, *cuts, end]):
            if is_edge[first]:
                items.append(("turn", self._end(first, -1).least(is_edge), (first, -1)))
                items.append(("turn", self._end(last - 1, 1).least(is_edge), (last - 1, 1)))
                continue
            one = self._explain_way(first, last, sum(alone[first:last]))
            start = len(items)
            if way is not None and sum(alone[row] for row in range(way[0], first) if is_edge[row]) < _DOUBLED_M:
                whole = self._explain_way(
                    way[0], last, sum(alone[row] for row in range(way[0], last) if not is_edge[row])
                )
                apart = [*items[way[1] :], one]
                if whole[0] == "way" and whole[1] < sum(cost for _, cost, _ in apart):
                    items[way[1] :] = [whole]
                    continue
            items.append(one)
            way = first, start
        return items

    def _count_areas(self, is_fire: list[bool]) -> int:
        """Return how many areas, burned or not, there are."""
        root = list(range(len(is_fire)))
        count = len(root)
        for one, other in self._neighbours:
            if is_fire[one] == is_fire[other]:
                while root[one] != one:
                    one = root[one]
                while root[other] != other:
                    other = root[other]
                if one != other:
                    root[max(one, other)] = min(one, other)
                    count -= 1
        return count

    def _explain_circles(self, is_edge: Flags) -> list[Item]:
        """Return what small round cells cost whose rim would be edge: they are flown to look again."""
        return [
            ("circle", _CIRCLE, (cell,))
            for cell, rows, metres in self._circles
            if is_edge[rows] @ metres > 0.5 * metres.sum()
        ]

    def _measure_alone(self, is_edge: Flags) -> Floats:
        """Return how many metres of each pass no edge pass, but itself, runs alongside."""
        owner, others, metres = self._alone
        is_alone = (others @ is_edge.astype(np.float32)) == 0.0
        return np.asarray(np.bincount(owner[is_alone], metres[is_alone], minlength=len(self.passes)), np.float64)

    def _explain_link(self, line: int, alone_m: float) -> list[Item]:
        if alone_m <= _LEAST_GAP_M:
            return []
        # Near its ends a link runs beside what it links.
        length = min(alone_m + 3.0 * self.near_m, (len(self._slice(line)) - 1) * float(self.passes.steps_m[line]))
        return [("gap", min(_GAP + _GAP_PER_M * length, _GAP_MOST), (line,))]

    def _slice(self, line: int) -> Floats:
        return self.passes.xy[self.passes.first_of_line[line] : self.passes.first_of_line[line + 1]]

    def _explain_launches(self, is_edge: list[bool]) -> list[Item]:
        """Return what it costs that the edge runs through places where flights began or ended on the ground."""
        return [
            ("launch", _LAUNCH * weight, (line, end))
            for line, end, weight, near in self._grounds
            if any(is_edge[row] for row in near)
        ]

    def _find_rims(self) -> list[tuple[int, Whole, Floats]]:
        rims = []
        for cell in self.small_circles:
            rows = np.flatnonzero((self.passes.sides == cell).any(axis=1) & (self._line_of < self.passes.links))
            rims.append((cell, rows, self._length[rows]))
        return rims

    def _find_grounds(self) -> list[tuple[int, int, float, list[int]]]:
        """Return the line, its end, the weight of a launch there, and the passes that go by."""
        found = []
        for line, weights in enumerate(self.launches):
            for end, weight in enumerate(weights):
                place = self._slice(line)[-end]
                near = self._tree.query_ball_point(place, self.near_m)
                if weight:
                    found.append((line, end, weight, np.unique(self._owner[near]).tolist()))
        return found

    def _explain_way(self, a: int, b: int, undoubled_m: float) -> Item:
        if undoubled_m < _DOUBLED_M:
            return "doubled", _DOUBLED, (a, b)
        if (a, b) not in self._ways:
            self._ways[a, b] = self._measure_way(a, b)
        bends, length_m, open_m = self._ways[a, b]
        share = undoubled_m / max(length_m, 1e-9)
        metres = _ALL_FLOWN * undoubled_m / self._flown_m
        is_middle = self._inner[a] and self._inner[b]
        if is_middle and length_m < _LOOK_AGAIN_M and open_m < _LOOK_AGAIN_OPEN_M:
            return "look again", _LOOK_AGAIN, (a, b)
        metres += _MIDDLE_WAY if is_middle else 0.0
        metres += _LOOP * self._count_loops(a, b)
        return "way", _BEND * (max(1.0, bends * share) + _MANY_BENDS * max(0.0, bends * share - 3.0)) + metres, (a, b)

    def _find_straight(self) -> Floats:
        """Return what each pass costs as edge for lying on bends that are longer than an edge's usually are."""
        passes = self.passes
        length = np.concatenate([bends.lengths_m() for bends in self._bends])
        is_flown = passes.line < passes.links
        usual = _USUAL_BENDS * float(np.median(length[is_flown]))
        density = _STRAIGHT * np.log2(np.maximum(length / usual, 1.0)) / np.maximum(length, 1.0)
        density = np.where(is_flown, density * passes.steps_m[passes.line], 0.0)
        return np.asarray(np.bincount(self._owner, density, minlength=len(passes)), np.float64)

    def _count_loops(self, a: int, b: int) -> int:
        """Return how many large loops follow one another on a stretch."""
        if (a, b) not in self._loops_of:
            at, last, count = int(self.passes.first[a]), int(self.passes.first[b]), 0
            while len(closed := np.flatnonzero(self._loop_start[at:last] >= at)):
                at, count = at + int(closed[0]) + 1, count + 1
            self._loops_of[a, b] = count
        return self._loops_of[a, b]

    def _find_loop_starts(self, pairs: Whole) -> Whole:
        """Return for each place the latest place, on the same line, from where on a large loop leads to it; else -1."""
        passes = self.passes
        low, high = pairs.min(axis=1), pairs.max(axis=1)
        is_loop = (passes.line[low] == passes.line[high]) & (self._along[high] - self._along[low] > _LOOK_AGAIN_M)
        low, high = low[is_loop], high[is_loop]
        xy = passes.xy - passes.xy.mean(axis=0)
        swept = np.r_[0.0, np.cumsum(xy[:-1, 0] * xy[1:, 1] - xy[:-1, 1] * xy[1:, 0])]
        closing = xy[high, 0] * xy[low, 1] - xy[high, 1] * xy[low, 0]
        width = np.abs(swept[high] - swept[low] + closing) / (self._along[high] - self._along[low])
        wide = width > self.near_m
        starts = np.full(len(xy), -1)
        np.maximum.at(starts, high[wide], low[wide])
        return starts

    def _is_inner_start(self, row: int) -> bool:
        """Tell whether a line goes on from the pass before into this one."""
        return bool(0 < row < len(self._line_of) and self._line_of[row - 1] == self._line_of[row])

    def _measure_way(self, a: int, b: int) -> tuple[float, float, float]:
        line = int(self._line_of[a])
        base = int(self.passes.first_of_line[line])
        first, last = int(self.passes.first[a]), int(self.passes.first[b]) - 1
        open_m = float(np.hypot(*(self.passes.xy[first] - self.passes.xy[last])))
        return self._bends[line].count(first - base, last - base), float(self._length[a:b].sum()), open_m

    def _find_beside(self) -> tuple[Whole, NDArray[np.float32], Floats]:
        """Return by kind of place the pass, which others run alongside, and how many metres there are of it."""
        from scipy.spatial import cKDTree

        passes = self.passes
        reach = 1.5 * self.near_m
        ahead = self._ahead()
        pairs = cKDTree(passes.xy).query_pairs(reach, output_type="ndarray")
        apart = (passes.line[pairs[:, 0]] != passes.line[pairs[:, 1]]) | (
            np.abs(self._along[pairs[:, 0]] - self._along[pairs[:, 1]]) > 5.0 * self.near_m
        )
        self._loop_start = self._find_loop_starts(pairs[apart])
        parallel = np.abs((ahead[pairs[:, 0]] * ahead[pairs[:, 1]]).sum(axis=1)) > 0.7
        pairs = pairs[apart & parallel]
        pairs = np.vstack([pairs, pairs[:, ::-1]])
        pairs = pairs[passes.line[pairs[:, 1]] < passes.links]
        place, other = pairs[:, 0], self._owner[pairs[:, 1]]
        unique = np.unique(place * np.int64(len(passes)) + other)
        place, other = unique // len(passes), unique % len(passes)
        cuts = np.flatnonzero(np.diff(place)) + 1
        groups = dict(zip(place[np.r_[0, cuts]].tolist() if len(place) else [], np.split(other, cuts), strict=False))
        metres: dict[tuple[int, tuple[int, ...]], float] = {}
        for at, (row, line) in enumerate(zip(self._owner.tolist(), passes.line.tolist(), strict=True)):
            key = row, tuple(groups[at].tolist()) if at in groups else ()
            metres[key] = metres.get(key, 0.0) + passes.steps_m[line]
        marked = np.zeros((len(metres), len(passes)), np.float32)
        for row, (_, beside) in enumerate(metres):
            marked[row, list(beside)] = 1.0
        return np.array([row for row, _ in metres]), marked, np.array(list(metres.values()))

    def _ahead(self) -> Floats:
        passes = self.passes
        last = passes.first_of_line[1:][passes.line] - 1
        first = passes.first_of_line[:-1][passes.line]
        every = np.arange(len(passes.xy))
        ahead = passes.xy[np.minimum(every + 2, last)] - passes.xy[np.maximum(every - 2, first)]
        return np.asarray(ahead / np.maximum(np.hypot(*ahead.T), 1e-9)[:, None])

    def _end(self, run: int, direction: int) -> LooseEnd:
        if (run, direction) not in self._ends:
            self._ends[run, direction] = self._find_loose_end(run, direction)
        return self._ends[run, direction]

    def _find_loose_end(self, run: int, direction: int) -> LooseEnd:
        """Return how the edge may go on where a pass stops being edge: there, or somewhat before."""
        passes = self.passes
        first, last = int(passes.first[run]), int(passes.first[run + 1]) - 1
        end, other = (last, first) if direction > 0 else (first, last)
        line = int(passes.line[end])
        low, high = int(passes.first_of_line[line]), int(passes.first_of_line[line + 1]) - 1
        step = float(passes.steps_m[line])
        arm = max(2, round(_ARM_M / step))
        needs, costs = [np.empty((0, 2), np.int64)], [np.empty(0)]
        for back_m in _LEFT_BEFORE_M:
            place = end - direction * round(back_m / step)
            if back_m and (place - other) * direction < arm:
                break
            behind = int(np.clip(place - direction * arm, low, high))
            if behind == place:
                continue
            need, cost = self._turns_at(place, passes.xy[place] - passes.xy[behind], _AHEAD_M + back_m)
            needs.append(need)
            costs.append(cost)
        need, cost = np.vstack(needs), np.concatenate(costs)
        order = np.argsort(cost, kind="stable")
        best = order[np.sort(np.unique(need[order], axis=0, return_index=True)[1])]
        return LooseEnd(tuple((float(cost[row]), *need[row].tolist()) for row in best))

    def _turns_at(self, place: int, out: Floats, ahead_m: float) -> tuple[Whole, Floats]:
        passes, line = self.passes, self.passes.line[place]
        near = np.array(self._tree.query_ball_point(passes.xy[place], 1.5 * self.near_m), dtype=np.int64)
        near = near[(passes.line[near] != line) | (np.abs(self._along[near] - self._along[place]) > 2.0 * self.near_m)]
        arms = np.maximum(2, np.rint(ahead_m / passes.steps_m[passes.line[near]])).astype(np.int64)
        ends = passes.first_of_line[passes.line[near]], passes.first_of_line[passes.line[near] + 1] - 1
        needs, costs = [], []
        for sign in (1, -1):
            far = np.clip(near + sign * arms, *ends)
            on = np.clip(near + sign * 2, *ends)
            is_long = np.abs(far - near) >= 2
            ahead = (passes.xy[far] - passes.xy[near])[is_long]
            cosine = (ahead @ out) / np.maximum(np.hypot(*ahead.T) * np.hypot(*out), 1e-9)
            angle = np.degrees(np.arccos(np.clip(cosine, -1.0, 1.0)))
            needs.append(np.column_stack([self._owner[far], self._owner[on]])[is_long])
            # Across a long gap an edge may turn as it likes.
            costs.append(np.interp(angle, *_TURNS) * self._stiffness[passes.line[near][is_long]])
        return np.vstack(needs), np.concatenate(costs)

    @cached_property
    def _tree(self) -> Any:
        from scipy.spatial import cKDTree

        return cKDTree(self.passes.xy)
