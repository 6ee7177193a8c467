from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from exchange.perimeter.joining import Arc, join_arcs

Floats = NDArray[np.float64]
RADIUS_M, STEP_M = 200.0, 2.5
LENGTH_M = 2 * np.pi * RADIUS_M


def arc(first: float, last: float) -> Arc:
    """Return a part of a circle, given as shares of its turn."""
    turn = 2 * np.pi * np.linspace(first, last, int(abs(last - first) * LENGTH_M / STEP_M))
    xy = RADIUS_M * np.column_stack([np.cos(turn), np.sin(turn)])
    return Arc(xy, (0, len(xy) - 1), (0.0, 0.0), np.zeros(len(xy), np.bool_))


def double(arcs: list[Arc], overlap: float) -> list[Arc]:
    """Return the arcs with a share of each end marked as flown by another one too."""
    marked = []
    for one in arcs:
        count = int(overlap * LENGTH_M / STEP_M)
        is_doubled = np.zeros(len(one.xy), np.bool_)
        is_doubled[:count] = is_doubled[-count:] = True
        marked.append(Arc(one.xy, one.core, one.weights, is_doubled))
    return marked


@pytest.mark.parametrize("order", [(0, 1, 2), (2, 0, 1), (1, 0, 2)])
def test_three_arcs_make_one_ring_in_any_order(order: tuple[int, ...]) -> None:
    """Arcs with small gaps between them close one ring, one of them flown the other way."""
    arcs = [arc(0.0, 0.32), arc(0.65, 0.34), arc(0.67, 0.99)]
    chains = join_arcs([arcs[index] for index in order])
    assert [len(chain.pieces) for chain in chains] == [3]
    assert max(chains[0].gaps_m) < 0.025 * LENGTH_M


def test_what_overlaps_is_trimmed() -> None:
    """Where two arcs run along each other the gap is next to nothing."""
    chains = join_arcs(double([arc(0.0, 0.56), arc(0.5, 1.06)], 0.06))
    assert len(chains) == 1
    assert max(chains[0].gaps_m) < 2 * STEP_M


def test_two_rings_stay_two() -> None:
    """Arcs that each close on themselves are not joined with each other."""
    far = arc(0.0, 0.99)
    moved = Arc(far.xy + np.array([2000.0, 0.0]), far.core, far.weights, far.is_doubled)
    chains = join_arcs([far, moved])
    assert sorted(len(chain.pieces) for chain in chains) == [1, 1]


def test_half_a_ring_is_not_trimmed_until_it_closes() -> None:
    """The gap of half a ring is its diameter."""
    chains = join_arcs([arc(0.0, 0.5)])
    assert chains[0].gaps_m[0] == pytest.approx(2 * RADIUS_M, rel=0.03)


def test_a_sure_leg_is_not_taken_in() -> None:
    """Legs that meet at a launch leave the ring open where nothing was flown."""
    ring = arc(0.05, 0.95).xy
    launch = np.array([600.0, 0.0])
    share = np.linspace(0.0, 1.0, 160)[:, None]
    out, back = launch + share * (ring[0] - launch), ring[-1] + share * (launch - ring[-1])
    xy = np.vstack([out, ring, back])
    one = Arc(xy, (160, 159 + len(ring)), (1.0, 1.0), np.zeros(len(xy), np.bool_))
    (chain,) = join_arcs([one])
    assert chain.gaps_m[0] == pytest.approx(np.hypot(*(ring[0] - ring[-1])), rel=0.2)
    assert one.leg_taken_in(chain.pieces[0].start, 0) == 0.0
    assert one.leg_taken_in(0, 0) == 1.0


def test_many_arcs_are_joined_all_the_same() -> None:
    """Ten arcs, more than are matched exactly, still make their one ring."""
    chains = join_arcs([arc(index / 10 + 0.002, index / 10 + 0.098) for index in range(10)])
    assert [len(chain.pieces) for chain in chains] == [10]


def test_nothing_joins_nothing() -> None:
    """No arc, no chain."""
    assert join_arcs([]) == []
