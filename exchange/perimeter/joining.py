"""Open arcs joined end to end into rings, at the least cost in gaps and in what is left out."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]
Flags = NDArray[np.bool_]

_END_SHARE = 0.45
_COST_OF_TRIMMING = 0.3
_COST_OF_SHRINKING = 3.0
_DOUBTFUL_SHARE, _COST_OF_DOUBT = 0.5, 0.5
_SURE_WEIGHT, _SURE_M = 0.5, 60.0
_MOST_PLACES = 250
_MOST_ARCS_AT_ONCE = 7


@dataclass(frozen=True, eq=False)
class Arc:
    """Hold an open piece of an edge with the legs at its ends.

    Attributes
    ----------
    xy
        Metres, shape (n, 2), even steps.
    core
        First and last index between the legs.
    weights
        What each metre of the first and of the last leg costs if it is taken into the ring.
    is_doubled
        Which places another pass runs along, so that leaving them out loses nothing.
    """

    xy: Floats
    core: tuple[int, int]
    weights: tuple[float, float]
    is_doubled: Flags

    @cached_property
    def along(self) -> Floats:
        """The metres along the arc at each place."""
        return np.asarray(np.r_[0.0, np.cumsum(np.hypot(*np.diff(self.xy, axis=0).T))])

    @cached_property
    def core_length_m(self) -> float:
        """The length between the legs."""
        return float(self.along[self.core[1]] - self.along[self.core[0]])

    def is_inside(self, places: Whole) -> Flags:
        """Tell which places lie between the legs."""
        return np.asarray((places >= self.core[0]) & (places <= self.core[1]))

    def end_places(self, end: int) -> tuple[Whole, Floats]:
        """Return the places where the first (0) or the last (1) end may be joined, and what each costs."""
        first, last = self.core
        single = np.where(self.is_doubled[1:], 0.0, np.diff(self.along))
        lost = np.r_[0.0, np.cumsum(single)]
        reach = _END_SHARE * self.core_length_m
        if end == 0:
            places = np.arange(0, int(np.searchsorted(self.along, self.along[first] + reach)) + 1)
            trimmed = lost[places] - lost[first]
            taken = self.along[first] - self.along[places]
        else:
            places = np.arange(int(np.searchsorted(self.along, self.along[last] - reach)), len(self.xy))
            trimmed = lost[last] - lost[places]
            taken = self.along[places] - self.along[last]
        return places, np.where(taken > 0.0, self._leg_cost(taken, end), _COST_OF_TRIMMING * np.maximum(trimmed, 0.0))

    def leg_taken_in(self, place: int, end: int) -> float:
        """Return which share of a sure leg an end joined at a place takes in; 0 of a doubtful one."""
        first, last = self.core
        leg_m, taken_m = (
            (self.along[first], self.along[first] - self.along[place])
            if end == 0
            else (self.along[-1] - self.along[last], self.along[place] - self.along[last])
        )
        if self.weights[end] <= _SURE_WEIGHT or taken_m <= _SURE_M:
            return 0.0
        return float(taken_m / max(leg_m, 1e-9))

    def _leg_cost(self, taken_m: Floats, end: int) -> Floats:
        """Return what it costs to take the last metres of a leg into the ring: little for what may be edge already."""
        leg_m = self.along[self.core[0]] if end == 0 else self.along[-1] - self.along[self.core[1]]
        doubtful = _DOUBTFUL_SHARE * leg_m
        near = np.minimum(taken_m, doubtful) * min(self.weights[end], _COST_OF_DOUBT)
        return np.asarray(near + np.maximum(taken_m - doubtful, 0.0) * self.weights[end])


class Joint(NamedTuple):
    """Hold how two ends of arcs are joined.

    Parameters
    ----------
    places
        The index on either arc where it is joined.
    gap_m
        Distance between the two.
    cost
        Gap and what is lost or wrongly taken in.
    """

    places: tuple[int, int]
    gap_m: float
    cost: float


class Piece(NamedTuple):
    """Hold one arc's part in a ring: from `start` to `end`, which comes first where it runs backwards."""

    arc: int
    start: int
    end: int


class Chain(NamedTuple):
    """Hold a closed chain of pieces, with the gap after each."""

    pieces: tuple[Piece, ...]
    gaps_m: tuple[float, ...]
    cost: float


def join_arcs(arcs: list[Arc]) -> list[Chain]:
    """Return the closed chains that the arcs make, every arc in one.

    Each end is joined to one other, possibly of its own arc, so that the costs of all joints are least together.
    """
    if not arcs:
        return []
    ends = [(arc, end) for arc in range(len(arcs)) for end in (0, 1)]
    joints = {(i, j): find_joint(arcs, ends[i], ends[j]) for i in range(len(ends)) for j in range(i + 1, len(ends))}
    return _follow(_match(len(ends), {pair: joint.cost for pair, joint in joints.items()}), joints)


def find_joint(arcs: list[Arc], first: tuple[int, int], second: tuple[int, int]) -> Joint:
    """Return the cheapest way to join two ends, each given as the arc's index and 0 or 1."""
    one, other = arcs[first[0]], arcs[second[0]]
    places_1, cost_1 = one.end_places(first[1])
    places_2, cost_2 = other.end_places(second[1])
    every_1, every_2 = _thin_out(places_1), _thin_out(places_2)
    near_1, near_2 = _cheapest(one, other, places_1[every_1], cost_1[every_1], places_2[every_2], cost_2[every_2])[:2]
    fine_1 = _around(places_1, near_1, len(places_1) // len(every_1) + 1)
    fine_2 = _around(places_2, near_2, len(places_2) // len(every_2) + 1)
    place_1, place_2, gap, cost = _cheapest(
        one, other, places_1[fine_1], cost_1[fine_1], places_2[fine_2], cost_2[fine_2]
    )
    return Joint((place_1, place_2), gap, cost)


def _cheapest(
    one: Arc, other: Arc, places_1: Whole, cost_1: Floats, places_2: Whole, cost_2: Floats
) -> tuple[int, int, float, float]:
    from scipy.spatial.distance import cdist

    gap = cdist(one.xy[places_1], other.xy[places_2])
    cost = gap + cost_1[:, None] + cost_2[None, :]
    if one is other:
        # An open arc must not be trimmed to nothing in order to close.
        cost += _COST_OF_SHRINKING * (cost_1[:, None] * one.is_inside(places_1)[:, None])
        cost += _COST_OF_SHRINKING * (cost_2[None, :] * one.is_inside(places_2)[None, :])
        # The two ends of one arc may not pass each other.
        cost[places_1[:, None] >= places_2[None, :]] = np.inf
    row, column = np.unravel_index(int(np.argmin(cost)), cost.shape)
    return int(places_1[row]), int(places_2[column]), float(gap[row, column]), float(cost[row, column])


def _thin_out(places: Whole) -> Whole:
    return np.unique(np.linspace(0, len(places) - 1, min(len(places), _MOST_PLACES)).astype(np.int64))


def _around(places: Whole, place: int, reach: int) -> Whole:
    middle = int(np.searchsorted(places, place))
    return np.arange(max(0, middle - reach), min(len(places), middle + reach + 1))


def _match(count: int, cost: dict[tuple[int, int], float]) -> list[tuple[int, int]]:
    """Return the perfect matching of least cost: exact for a few arcs, the surest first where they are many."""
    free = list(range(count))
    chosen = []
    while len(free) > 2 * _MOST_ARCS_AT_ONCE:
        pair = min(((i, j) for i in free for j in free if i < j), key=lambda pair: cost[pair])
        chosen.append(pair)
        free = [end for end in free if end not in pair]
    best: dict[int, tuple[float, list[tuple[int, int]]]] = {0: (0.0, [])}
    for taken in range(1 << len(free)):
        if taken not in best:
            continue
        total, pairs = best[taken]
        rest = [index for index in range(len(free)) if not taken >> index & 1]
        if not rest:
            continue
        for index in rest[1:]:
            pair = (free[rest[0]], free[index])
            after = taken | 1 << rest[0] | 1 << index
            if after not in best or total + cost[pair] < best[after][0]:
                best[after] = (total + cost[pair], [*pairs, pair])
    return chosen + best[(1 << len(free)) - 1][1]


def _follow(matching: list[tuple[int, int]], joints: dict[tuple[int, int], Joint]) -> list[Chain]:
    """Return the cycles that the joints make."""
    partner = {}
    for i, j in matching:
        joint = joints[i, j]
        partner[i] = (j, joint.places[0], joint)
        partner[j] = (i, joint.places[1], joint)
    chains, left = [], set(partner)
    while left:
        entry = first = min(left)
        pieces, gaps, cost = [], [], 0.0
        while True:
            leaving = entry ^ 1
            left -= {entry, leaving}
            pieces.append(Piece(entry // 2, partner[entry][1], partner[leaving][1]))
            entry, _, joint = partner[leaving]
            gaps.append(joint.gap_m)
            cost += joint.cost
            if entry == first:
                break
        chains.append(Chain(tuple(pieces), tuple(gaps), cost))
    return chains
