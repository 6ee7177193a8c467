from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.cluster.hierarchy import fcluster, linkage
from scipy.spatial.distance import pdist

from exchange.merge.grouping.linkage import link_by_mean, link_completely, number_groups
from exchange.merge.grouping.pairs import Pairs, find_pairs_within


def _all_pairs(count: int, values: np.ndarray) -> Pairs:
    first, second = np.triu_indices(count, 1)
    return Pairs(first, second, values)


@pytest.mark.parametrize("seed", range(8))
def test_complete_linkage_is_that_of_scipy(seed: int) -> None:
    """Without images the groups are those of ``scipy.cluster.hierarchy`` with method ``complete``."""
    random = np.random.default_rng(seed)
    east, north = random.uniform(0.0, 60.0, (2, 300))
    ours = link_completely(300, find_pairs_within(east, north, np.arange(300), 7.0))
    theirs = fcluster(linkage(pdist(np.column_stack([east, north])), "complete"), 7.0, "distance")
    assert np.array_equal(ours, number_groups(theirs.astype(np.int64)))


@pytest.mark.parametrize("seed", range(8))
def test_average_linkage_is_that_of_scipy(seed: int) -> None:
    """Where every two may be joined, the groups are those of ``scipy.cluster.hierarchy`` with method ``average``."""
    random = np.random.default_rng(seed)
    distance = random.uniform(0.0, 1.0, 60 * 59 // 2)
    ours = link_by_mean(60, _all_pairs(60, distance), 1 - distance, 0.55)
    theirs = fcluster(linkage(distance, "average"), 0.45, "distance")
    assert np.array_equal(ours, number_groups(theirs.astype(np.int64)))


@given(st.integers(2, 40), st.integers(0, 2**32 - 1), st.sampled_from([0.2, 0.4, 0.7]))
def test_what_is_no_pair_is_never_joined(count: int, seed: int, least: float) -> None:
    """Every two sightings of one group are among the pairs, whatever their probabilities."""
    random = np.random.default_rng(seed)
    pairs = _all_pairs(count, random.uniform(0.0, 1.0, count * (count - 1) // 2))
    allowed = pairs.take(random.uniform(size=len(pairs)) < 0.6)
    group = link_by_mean(count, allowed, random.uniform(size=len(allowed)), least)
    joined = {(a, b) for a in range(count) for b in range(a + 1, count) if group[a] == group[b]}
    assert joined <= set(zip(allowed.first.tolist(), allowed.second.tolist(), strict=True))


def test_groups_are_numbered_by_their_first_members() -> None:
    """Whatever the names, the first row has group 0 and each new group the next number."""
    assert number_groups(np.array([7, 2, 7, 9, 2])).tolist() == [0, 1, 0, 2, 1]


def test_the_published_example_of_complete_linkage() -> None:
    """Five objects of Johnson and Wichern, 'Applied Multivariate Statistical Analysis', example 12.5 (from memory).

    Complete linkage joins 3 and 5 at 2, 2 and 4 at 5, these two with 1 at 9 and all at 11.
    """
    distance = np.array([9.0, 3.0, 6.0, 11.0, 7.0, 5.0, 10.0, 9.0, 2.0, 8.0])
    pairs = _all_pairs(5, distance)
    groups = {cut: link_completely(5, pairs.take(distance <= cut)).tolist() for cut in (2.0, 5.0, 9.0, 11.0)}
    assert groups == {2.0: [0, 1, 2, 3, 2], 5.0: [0, 1, 2, 1, 2], 9.0: [0, 0, 1, 0, 1], 11.0: [0, 0, 0, 0, 0]}
