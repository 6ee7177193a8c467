"""What speaks against each stretch of a flight being an edge: an edge closes smoothly and meets itself nowhere."""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from exchange.perimeter.cuts import CutPath
from exchange.perimeter.way_cost import NEVER

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]
Flags = NDArray[np.bool_]

_MOST_ROWS: Final = 1500
_SHORTEST_M: Final = 90.0

# In the units of ``way_cost``.
_GAP, _GAP_BASE_M, _NO_GAP_M = 25.0, 60.0, 6.0
_WIDE_GAP, _WIDE_GAP_M = 1.0, 20.0
_TURN_DEGREES, _TURN_COST, _SHARE_ACROSS = (30.0, 60.0, 90.0, 135.0), (0.0, 3.5, 5.0, 6.0), 0.5
_OFF_M, _ARMS_M = (2.0, 10.0), (15.0, 30.0)
_THIN, _THIN_M = 3.0, 12.0
_OPEN, _PART = 6.0, 2.0
_JUNCTION, _MOST_JUNCTIONS, _PASSED = 4.0, 3, 3.0
_CORNER, _ALL_CORNERS, _CORNER_DEGREES = 0.5, 4.0, 60.0
_LAUNCH, _AT_LAUNCH_M, _AROUND_LAUNCH_M = 8.0, 30.0, 150.0
_INSIDE_M, _LAPPED_M, _LAPPED_COST_M = 20.0, 18.0, 3.0


class Edges(NamedTuple):
    """Hold what it costs that the stretch from each cut to each later one is an edge, and which of them close."""

    costs: Floats
    is_closed: Flags


class _Closure(NamedTuple):
    gap_m: float
    first: int
    last: int


def weigh_edges(cut: CutPath, *, is_alone: bool) -> Edges:
    """Return what it costs that the stretch between each two cuts is an edge.

    Parameters
    ----------
    cut
        The flight.
    is_alone
        Whether no other flight may go on along the same edge.
    """
    count = len(cut.cuts)
    costs, closed = np.full((count, count), NEVER), np.zeros((count, count), np.bool_)
    closing = _Closing(cut)
    opened = _OPEN if is_alone else _PART
    for i in range(count):
        for j in range(i + 1, count):
            if (cut.cuts[j] - cut.cuts[i]) * cut.path.step_m >= _SHORTEST_M:
                closure = closing.close(i, j)
                cost = closing.weigh(closure)
                closed[i, j] = cost <= opened
                costs[i, j] = min(cost, opened) + _weigh_inside(cut, i, j, closure)
    costs += _LAUNCH * (cut.launches[0] * _near_end(cut, 0)[:, None] + cut.launches[1] * _near_end(cut, -1)[None])
    return Edges(costs, closed)


def _near_end(cut: CutPath, end: int) -> Floats:
    """Return how near each cut lies to the first or the last place: 1 there, 0 some way off."""
    away = np.hypot(*(cut.path.even[cut.cuts] - cut.path.even[end]).T)
    behind = np.abs(cut.cuts - cut.cuts[end]) * cut.path.step_m
    return np.where(behind < _AROUND_LAUNCH_M, np.clip(1.0 - away / _AT_LAUNCH_M, 0.0, 1.0), 0.0)


def _weigh_inside(cut: CutPath, i: int, j: int, closure: _Closure) -> float:
    """Return what the corners within an edge cost, and the places where it meets itself but does not close."""
    slack = cut.steps(_INSIDE_M)
    first, last = cut.cuts[i] + slack, cut.cuts[j] - slack
    met = cut.meetings.junctions
    is_passed = ((np.abs(met[:, 0] - closure.first) < slack) & (met[:, 1] > cut.cuts[j] + slack)) | (
        (np.abs(met[:, 1] - closure.last) < slack) & (met[:, 0] < cut.cuts[i] - slack)
    )
    passed = _PASSED * _is_wide(closure.gap_m) if is_passed.any() else 0.0
    is_closing = (np.abs(met[:, 0] - closure.first) < slack) | (np.abs(met[:, 1] - closure.last) < slack)
    junctions = int((((met > first) & (met < last)).all(axis=1) & ~is_closing).sum())
    every = cut.corners_over(_CORNER_DEGREES)
    corners = int(((every > first) & (every < last)).sum())
    # Many corners are the ragged edge of this fire, or noise: all together count no more than some.
    return (
        passed + _JUNCTION * min(junctions, _MOST_JUNCTIONS) + min(_CORNER, _ALL_CORNERS / max(len(every), 1)) * corners
    )


def _is_wide(gap_m: float) -> float:
    """Return whether a gap is one, and no cut that lies a little off: 0 to 1."""
    return float(np.clip((gap_m - _WIDE_GAP_M) / _WIDE_GAP_M, 0.0, 1.0))


class _Closing:
    """How stretches of a path close on themselves."""

    def __init__(self, cut: CutPath) -> None:
        from scipy.spatial.distance import cdist

        self.cut, self.xy, self.step_m = cut, cut.path.even, cut.path.step_m
        self.rows = np.unique(np.linspace(0, len(self.xy) - 1, min(len(self.xy), _MOST_ROWS)).astype(np.int64))
        self.apart = cdist(self.xy[cut.cuts], self.xy[self.rows])
        self.lost = np.r_[0.0, np.cumsum(~cut.meetings.is_doubled[1:])] * self.step_m
        x, y = self.xy.T
        self.swept = np.r_[0.0, np.cumsum(x[:-1] * y[1:] - x[1:] * y[:-1])]

    def close(self, i: int, j: int) -> _Closure:
        """Return where the stretch between two cuts closes best; what lies beyond runs along the ring once more."""
        a, b = int(self.cut.cuts[i]), int(self.cut.cuts[j])
        low, middle, high = np.searchsorted(self.rows, [a, (a + b) // 2, b])
        met, slack = self.cut.meetings.junctions, self.cut.steps(_INSIDE_M)
        direct = float(np.hypot(*(self.xy[a] - self.xy[b])))
        if (np.abs(met - [a, b]) <= slack).all(axis=1).any():
            # The cuts lie at corners some metres from where the passes meet.
            direct = min(direct, _NO_GAP_M)
        late = self.apart[i, middle:high] + (self.lost[b] - self.lost[self.rows[middle:high]])
        early = self.apart[j, low:middle] + (self.lost[self.rows[low:middle]] - self.lost[a])
        choices = [_Closure(direct, a, b)]
        if len(late) and late.min() < direct - _LAPPED_COST_M:
            choices.append(_Closure(float(late.min()) + _LAPPED_COST_M, a, int(self.rows[middle + late.argmin()])))
        if len(early) and early.min() < direct - _LAPPED_COST_M:
            choices.append(_Closure(float(early.min()) + _LAPPED_COST_M, int(self.rows[low + early.argmin()]), b))
        return next(choice for choice in sorted(choices) if self._is_lapped(a, b, choice))

    def weigh(self, closure: _Closure) -> float:
        """Return what the gap of a ring costs, the corner where it closes, and that it is no wider than a thread."""
        gap, first, last = closure
        length = (last - first) * self.step_m + gap
        cost = _GAP * max(0.0, gap - _NO_GAP_M) / (length - gap + _GAP_BASE_M) + self._weigh_turn(closure)
        (x, y), (x_2, y_2) = self.xy[last], self.xy[first]
        width = abs(float(self.swept[last] - self.swept[first] + x * y_2 - x_2 * y)) / max(length, 1.0)
        return float(cost + (_THIN if width < _THIN_M else 0.0) + _WIDE_GAP * _is_wide(gap))

    def _is_lapped(self, a: int, b: int, closure: _Closure) -> bool:
        _, first, last = closure
        beyond = np.r_[np.linspace(a, first, 5)[:-1], np.linspace(last, b, 5)[1:]].astype(np.int64)
        beyond = beyond[(beyond < first) | (beyond > last)]
        if not len(beyond):
            return True
        ring = self.xy[first : last + 1 : max(self.cut.steps(5.0), (last - first) // _MOST_ROWS)]
        apart = np.hypot(*(self.xy[beyond][:, None] - ring[None]).transpose(2, 0, 1)).min(axis=1)
        return bool((apart < _LAPPED_M).all())

    def _weigh_turn(self, closure: _Closure) -> float:
        """Return what the corner costs: the aircraft goes on along the edge, most times.

        A corner right behind the end of a ring, or a few steps of noise, is not how it closes: the straightest counts.
        """
        gap, first, last = closure
        pairs = [self._directions(first, last, off, arm) for off in _OFF_M for arm in _ARMS_M]
        into, out = max(pairs, key=lambda pair: _cosine(*pair))
        cosine, share = _cosine(into, out), 1.0
        if gap > _WIDE_GAP_M:
            across = self.xy[first] - self.xy[last]
            cosine, share = min(_cosine(into, across), _cosine(across, out)), _SHARE_ACROSS
        turn = np.degrees(np.arccos(np.clip(cosine, -1.0, 1.0)))
        return share * float(np.interp(turn, _TURN_DEGREES, _TURN_COST))

    def _directions(self, first: int, last: int, off_m: float, arm_m: float) -> tuple[Floats, Floats]:
        off, arm = round(off_m / self.step_m), self.cut.steps(arm_m)
        first, last = min(first + off, len(self.xy) - 1), max(last - off, 0)
        return self.xy[last] - self.xy[max(last - arm, 0)], self.xy[min(first + arm, len(self.xy) - 1)] - self.xy[first]


def _cosine(one: Floats, other: Floats) -> float:
    return float(one @ other) / max(float(np.hypot(*one) * np.hypot(*other)), 1e-9)
