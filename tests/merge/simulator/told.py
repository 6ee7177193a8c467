"""A solver that is told each sortie's shift, accuracy and detection rate, and how near spots stand.

It is the practical ceiling for a grouping.

Of all groupings it seeks the likeliest: greedily from single sightings, then the sightings of one image are taken out
and put back by the best assignment until nothing changes. Slow and plain on purpose, and no kin of the merge's own.
"""

from __future__ import annotations

import heapq
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linear_sum_assignment
from scipy.spatial import cKDTree

from tests.merge.simulator.flights import REPEATED, ROOM_M
from tests.merge.simulator.scene import Floats
from tests.merge.simulator.simulate import Simulated

Whole = NDArray[np.int64]
_Group = tuple[Floats, NDArray[np.bool_], Whole]

REACH = 4.5
"""Sightings farther apart than so many standard deviations of their difference are not weighed against each other."""

ROUNDS = 6
REPEATS = 0.77 * REPEATED
"""Mean further sightings of a seen spot: an image of 60 x 45 m every 45 x 34 m shows a place 1.77 times in the mean."""

WEIGHT, SUM_X, SUM_Y, SQUARES, LOGS = range(5)
NEVER = -1e9


def group_told(fire: Simulated) -> Whole:
    """Return the group of each sighting, counted from 0, for a fire of which all but the spots is known."""
    truth = _Truth.of(fire)
    groups = _Groups.of_singles(truth)
    groups.merge(grows=True)
    for _ in range(ROUNDS):
        before = groups.labels()
        groups.reassign()
        groups.merge()
        if np.array_equal(before, groups.labels()):
            break
    return groups.labels()


@dataclass(frozen=True)
class _Truth:
    """Hold what is told, and judge groups by it.

    A group is known by its moments: sum of weights (1/variance), weighted sums of x, y and squares, sum of the log
    densities' constants; by which sorties saw it; by how many sightings it has.
    """

    fire: Simulated
    singles: Floats
    frame: Whole
    reach_m: float
    spot_density: float
    false_density: float

    @classmethod
    def of(cls, fire: Simulated) -> _Truth:
        weight = (1.0 / np.array([flight.noise_m for flight in fire.flights]) ** 2)[fire.flight]
        x, y = fire.unshifted_places().T
        singles = np.column_stack(
            [weight, weight * x, weight * y, weight * (x * x + y * y), np.log(weight / 2 / np.pi)]
        )
        wide, high = np.ptp(fire.spots.places, axis=0) + 2.0 * ROOM_M
        covered = sum((flight.band[1] - flight.band[0]) * high for flight in fire.flights)
        spot_area = (wide - ROOM_M) * (high - ROOM_M)
        false = max(int((fire.truth < 0).sum()), 0.5)
        reach_m = REACH * float(np.sqrt(2.0 / weight.min()))
        return cls(fire, singles, _frames(fire), reach_m, len(fire.spots) / spot_area, false / covered)

    def log_likelihood(self, moments: Floats, seen_by: NDArray[np.bool_], count: Whole) -> Floats:
        """Return log densities of groups: of a spot, or of a false alarm where that is likelier."""
        spot = self.log_of_spots(moments, seen_by, count)
        return np.where(count == 1, np.logaddexp(spot, np.log(self.false_density)), spot)

    def log_of_room(self, apart: Floats, blur: Floats) -> Floats:
        """Return the log of how likely the regime's spacing lets two spots stand so near: half of both their rooms."""
        low, high = self.fire.regime.spacing_m
        true = np.abs(apart[:, None] + blur[:, None] * np.linspace(-1.5, 1.5, 7))
        part = np.clip((true - low) / (high - low), 0.0, 1.0)
        lets = np.where(part < 0.5, 2.0 * part**2, 1.0 - 2.0 * (1.0 - part) ** 2)
        return np.asarray(np.log(np.maximum(lets.mean(axis=1), 1e-12)))

    def log_of_spots(self, moments: Floats, seen_by: NDArray[np.bool_], count: Whole) -> Floats:
        """Return log densities of groups as spots: the place integrated out; who saw it, who missed it, repeats."""
        weight = moments[:, WEIGHT]
        spread = moments[:, SQUARES] - (moments[:, SUM_X] ** 2 + moments[:, SUM_Y] ** 2) / weight
        sights = seen_by.sum(axis=1)
        repeats = (count - sights) * np.log(REPEATS) - count * np.log1p(REPEATS)
        density = np.log(self.spot_density) + moments[:, LOGS] + np.log(2.0 * np.pi / weight)
        rates, bands = (np.array([getattr(f, name) for f in self.fire.flights]) for name in ("seen", "band"))
        x = (moments[:, SUM_X] / weight)[:, None]
        could_see = (x >= bands[:, 0]) & (x < bands[:, 1])
        of_sorties = np.where(seen_by, np.log(rates), np.where(could_see, np.log1p(-rates), 0.0)).sum(axis=1)
        return np.asarray(density - np.maximum(spread, 0.0) / 2.0 + repeats + of_sorties)


@dataclass
class _Groups:
    truth: _Truth
    moments: Floats
    seen_by: NDArray[np.bool_]
    members: dict[int, list[int]] = field(default_factory=dict)

    @classmethod
    def of_singles(cls, truth: _Truth) -> _Groups:
        length = len(truth.singles)
        moments, seen_by = np.zeros((length, 5)), np.zeros((length, len(truth.fire.flights)), bool)
        groups = cls(truth, moments, seen_by)
        for row in range(length):
            groups._store(row, [row])
        return groups

    def labels(self) -> Whole:
        label = np.empty(len(self.truth.singles), np.int64)
        for number, rows in enumerate(sorted(self.members.values(), key=min)):
            label[rows] = number
        return label

    def merge(self, *, grows: bool = False) -> None:
        """Join the two groups that gain most by it, until none gains; while they grow nothing is a false alarm."""
        keys = np.array(sorted(self.members))
        centres = self._centres(keys)
        near = {k: set(keys[f].tolist()) for k, f in zip(keys.tolist(), _within(centres, self.truth), strict=True)}
        version = dict.fromkeys(near, 0)
        heap: list[tuple[float, int, int, int, int]] = []
        for key in near:
            self._offer(heap, key, [other for other in near[key] if other > key], version, grows)
        heapq.heapify(heap)
        while heap:
            _, a, b, version_a, version_b = heapq.heappop(heap)
            if (version.get(a), version.get(b)) != (version_a, version_b):
                continue
            self._store(a, self.members[a] + self.members.pop(b))
            del version[b]
            version[a] += 1
            near[a] = {key for key in near[a] | near.pop(b) if key in version and key != a}
            for key in near[a]:
                near[key].add(a)
            self._offer(heap, a, sorted(near[a]), version, grows)

    def reassign(self) -> None:
        """Take each frame's sightings out in turn and put them back where all of them together gain most."""
        owner = {row: key for key, rows in self.members.items() for row in rows}
        for frame in range(int(self.truth.frame.max()) + 1):
            rows = np.flatnonzero(self.truth.frame == frame).tolist()
            for row in rows:
                self._store(owner[row], [member for member in self.members.pop(owner[row]) if member != row])
            for row, key in self._choose(rows).items():
                self._store(key, [*self.members.get(key, []), row])
                owner[row] = key

    def _choose(self, rows: list[int]) -> dict[int, int]:
        keys = np.array(sorted(self.members), np.int64)
        gains = np.vstack([self._gains(row, keys) for row in rows])
        alone = np.where(np.eye(len(rows), dtype=bool), 0.0, NEVER)
        chosen = linear_sum_assignment(-np.hstack([gains, alone]))[1].tolist()
        free = iter([key for key in range(len(self.moments)) if key not in self.members])
        return {row: int(keys[c]) if c < len(keys) else next(free) for row, c in zip(rows, chosen, strict=True)}

    def _gains(self, row: int, keys: Whole) -> Floats:
        gains = np.full(len(keys), NEVER)
        if not len(keys):
            return gains
        single = self.truth.singles[row]
        apart = self._centres(keys) - single[[SUM_X, SUM_Y]] / single[WEIGHT]
        near = np.flatnonzero(np.hypot(*apart.T) < self.truth.reach_m)
        if len(near):
            gains[near] = self._gain_of(single, self._seen_by([row]), 1, keys[near])
        return gains

    def _offer(
        self,
        heap: list[tuple[float, int, int, int, int]],
        key: int,
        others: list[int],
        version: dict[int, int],
        grows: bool,
    ) -> None:
        if not others:
            return
        count = len(self.members[key])
        gains = self._gain_of(self.moments[key], self.seen_by[key], count, np.array(others), grows=grows)
        frames = set(self.truth.frame[self.members[key]].tolist())
        for other, gain in zip(others, gains.tolist(), strict=True):
            if gain > 0 and frames.isdisjoint(self.truth.frame[self.members[other]].tolist()):
                a, b = min(key, other), max(key, other)
                heapq.heappush(heap, (-gain, a, b, version[a], version[b]))

    def _gain_of(self, moments: Floats, seen_by: Floats, count: int, keys: Whole, *, grows: bool = False) -> Floats:
        counts = np.array([len(self.members[key]) for key in keys.tolist()])
        judge = self.truth.log_of_spots if grows else self.truth.log_likelihood
        joined = judge(self.moments[keys] + moments, self.seen_by[keys] | seen_by, counts + count)
        mine = (moments[None], seen_by[None], np.array([count]))
        return np.asarray(joined - self._log_of_two(mine, (self.moments[keys], self.seen_by[keys], counts), grows))

    def _log_of_two(self, mine: _Group, theirs: _Group, grows: bool) -> Floats:
        """Return the log density of two groups that are not one: two spots with room for both, or false alarms."""
        centres = [moments[:, [SUM_X, SUM_Y]] / moments[:, [WEIGHT]] for moments, _, _ in (mine, theirs)]
        blur = np.sqrt(1.0 / mine[0][:, WEIGHT] + 1.0 / theirs[0][:, WEIGHT])
        room = self.truth.log_of_room(np.hypot(*(centres[1] - centres[0]).T), blur)
        value = self.truth.log_of_spots(*mine) + self.truth.log_of_spots(*theirs) + room
        if grows:
            return np.asarray(value)
        false = np.log(self.truth.false_density)
        for one, other in ((mine, theirs), (theirs, mine)):
            as_false = np.where(one[2] == 1, self.truth.log_likelihood(*other) + false, -np.inf)
            value = np.logaddexp(value, as_false)
        return value

    def _store(self, key: int, rows: list[int]) -> None:
        if rows:
            self.members[key] = rows
            self.moments[key] = self.truth.singles[rows].sum(axis=0)
            self.seen_by[key] = self._seen_by(rows)

    def _seen_by(self, rows: list[int]) -> NDArray[np.bool_]:
        seen_by = np.zeros(len(self.truth.fire.flights), bool)
        seen_by[self.truth.fire.flight[rows]] = True
        return seen_by

    def _centres(self, keys: Whole) -> Floats:
        return np.asarray(self.moments[keys][:, [SUM_X, SUM_Y]] / self.moments[keys][:, [WEIGHT]])


def _within(centres: Floats, truth: _Truth) -> list[list[int]]:
    return list(cKDTree(centres).query_ball_point(centres, truth.reach_m))


def _frames(fire: Simulated) -> Whole:
    """Return which sightings were made on one image, where that is known; else each stands alone."""
    numbers = np.concatenate([flight.image for flight in fire.flights]) + 10_000_000 * fire.flight
    is_known = fire.regime.has_images or fire.regime.has_times
    return np.unique(numbers, return_inverse=True)[1] if is_known else np.arange(len(numbers))
