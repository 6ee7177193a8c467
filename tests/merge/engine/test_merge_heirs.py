from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from exchange.merge.fusing import Fused
from exchange.merge.inheriting import choose_heirs, measure_distances


def test_of_two_parts_the_nearer_is_the_heir() -> None:
    """One earlier spot in two groups of as many sightings goes on in the nearer."""
    heirs = choose_heirs(np.array([0, 1]), np.array([0, 0]), np.array([3.0, 1.0]))
    assert heirs.home.tolist() == [1]
    assert list(zip(heirs.spot.tolist(), heirs.group.tolist(), strict=True)) == [(0, 0), (0, 1)]


def test_a_spot_that_has_another_part_leaves_the_nearer_to_one_that_has_none() -> None:
    """Spot 0 lies in groups 0 and 1, spot 1 in group 0 alone: both go on, each in a group of its own."""
    heirs = choose_heirs(np.array([0, 1, 0]), np.array([0, 0, 1]), np.array([1.0, 2.0, 4.0]))
    assert heirs.home.tolist() == [1, 0]


def test_two_spots_in_one_group_have_one_heir() -> None:
    """What has become one cannot be kept apart."""
    assert choose_heirs(np.array([0, 0]), np.array([0, 1]), np.array([1.0, 2.0])).home.tolist() == [0, 0]


def test_a_small_part_is_no_heir() -> None:
    """A sighting of three that has left takes no number along, however near it is."""
    heirs = choose_heirs(np.array([0, 0, 0, 1]), np.zeros(4, np.int64), np.array([5.0, 5.0, 5.0, 0.0]))
    assert heirs.home.tolist() == [0]
    assert heirs.is_large.tolist() == [True, False]


@given(st.integers(1, 4), st.integers(1, 4), st.integers(0, 2**32 - 1))
def test_as_many_spots_go_on_as_can_and_as_near_as_can_be(spots: int, groups: int, seed: int) -> None:
    """Against trying every way to give each spot one of its parts."""
    random = np.random.default_rng(seed)
    couples = np.argwhere(random.uniform(size=(spots, groups)) < 0.6)
    known, group = couples.T
    distance = random.uniform(0.0, 9.0, len(couples))
    home = choose_heirs(group, known, distance).home
    near = {(s, g): d for (s, g), d in zip(couples.tolist(), distance.tolist(), strict=True)}
    there = sorted({s for s, _ in near})
    ways = list(itertools.product(*([g for s, g in near if s == one] for one in there)))
    best = max(len(set(way)) for way in ways)
    chosen = [int(home[one]) for one in there]
    assert len(set(chosen)) == best
    if best == len(there):
        least = min(sum(near[c] for c in zip(there, way, strict=True)) for way in ways if len(set(way)) == best)
        assert sum(near[c] for c in zip(there, chosen, strict=True)) == pytest.approx(least)


def test_what_all_spots_moved_together_is_no_distance() -> None:
    """Ten spots that moved by (3, 4) lie where they were; of two alone nothing is known to be common."""
    places = np.column_stack([50.0 * np.arange(10), np.zeros(10)])
    fused = Fused(east=places[:, 0] + 3.0, north=places[:, 1] + 4.0, variance=np.ones(10))
    rows, net = np.arange(10), np.zeros(10, np.int64)
    assert measure_distances(rows, rows, fused, places, net) == pytest.approx(np.zeros(10), abs=1e-9)
    known = np.where(rows < 2, rows, -1)
    assert measure_distances(rows, known, fused, places, net)[:3] == pytest.approx([5.0, 5.0, np.nan], nan_ok=True)
