from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from exchange.merge.grouping.competition import share_between_rivals
from exchange.merge.grouping.linkage import link_by_mean
from exchange.merge.grouping.pairs import Pairs
from exchange.merge.grouping.settling import LEAST_GAIN, settle


def _pairs(couples: list[tuple[int, int]]) -> Pairs:
    first, second = np.array(couples, np.int64).reshape(-1, 2).T
    return Pairs(first, second, np.zeros(len(first)))


def _share(
    pairs: Pairs, odds: np.ndarray, image: list[int], sortie: list[int] | None = None, *, exclusive: float = 0.0
) -> np.ndarray:
    """Return what rivals leave; if nothing else is said the first sighting is of one sortie, the others of another."""
    sorties = np.minimum(np.arange(len(image)), 1) if sortie is None else np.array(sortie)
    return share_between_rivals(pairs, odds, np.array(image), sorties, np.full(len(image), exclusive))


def _over_all_assignments(pairs: Pairs, odds: np.ndarray) -> np.ndarray:
    """Return how likely each pair is over all sets of pairs in which no sighting stands twice, one by one."""
    total, of_pair = 0.0, np.zeros(len(pairs))
    for chosen in itertools.product([False, True], repeat=len(pairs)):
        taken = np.array(chosen)
        ends = np.concatenate([pairs.first[taken], pairs.second[taken]])
        if len(set(ends.tolist())) == len(ends):
            weight = float(np.exp(odds[taken].sum()))
            total += weight
            of_pair[taken] += weight
    return of_pair / total


@given(st.integers(2, 8), st.integers(0, 2**32 - 1))
def test_two_images_without_a_ring_are_shared_as_all_assignments_say(count: int, seed: int) -> None:
    """Where couples of two images form a tree, the probabilities are those of counting every assignment."""
    random = np.random.default_rng(seed)
    image, couples = [0], []
    for new in range(1, count):
        parent = int(random.integers(new))
        image.append(1 - image[parent])
        couples.append((parent, new))
    pairs, odds = _pairs(couples), random.normal(0.0, 2.0, count - 1)
    shared = _share(pairs, odds, image, sortie=image)
    assert shared == pytest.approx(_over_all_assignments(pairs, odds), abs=1e-3)


def test_images_of_their_own_do_not_compete() -> None:
    """Without known images a pair is as likely as it is by itself."""
    pairs, odds = _pairs([(0, 1), (0, 2), (1, 2)]), np.array([1.0, -2.0, 0.5])
    assert _share(pairs, odds, [-1, -2, -3]) == pytest.approx(1 / (1 + np.exp(-odds)))


def test_sightings_of_a_sortie_that_never_repeats_itself_compete_like_those_of_an_image() -> None:
    """Without known images as well, and half as much where the sortie sometimes repeats itself."""
    pairs, images = _pairs([(0, 1), (0, 2)]), [-1, -2, -3]
    assert _share(pairs, np.zeros(2), images, exclusive=1.0) == pytest.approx([1 / 3] * 2)
    assert _share(pairs, np.zeros(2), images, exclusive=0.5) == pytest.approx([1 / 2.5] * 2)


def test_of_three_in_one_image_each_has_its_share() -> None:
    """One sighting and three of one image, all as likely: each gets one part in four of what odds of 1 leave."""
    shared = _share(_pairs([(0, 1), (0, 2), (0, 3)]), np.zeros(3), [7, 8, 8, 8])
    assert shared == pytest.approx([0.25] * 3)


@given(st.integers(2, 25), st.integers(0, 2**32 - 1), st.sampled_from([0.2, 0.35, 0.6]))
def test_nothing_forbidden_is_joined_and_no_move_is_left_that_gains(count: int, seed: int, least: float) -> None:
    """Settled groups are made of pairs alone, and no single sighting fits another group better, or fits none at all."""
    random = np.random.default_rng(seed)
    first, second = np.triu_indices(count, 1)
    pairs = Pairs(first, second, np.zeros(len(first))).take(random.uniform(size=len(first)) < 0.8)
    probability = random.uniform(size=len(pairs))
    after = settle(link_by_mean(count, pairs, probability, least), pairs, probability, least)
    table = np.full((count, count), -np.inf)
    table[pairs.first, pairs.second] = table[pairs.second, pairs.first] = probability - least
    for one in range(count):
        mine = np.flatnonzero((after == after[one]) & (np.arange(count) != one))
        assert np.isfinite(table[one, mine]).all()
        others = [np.flatnonzero(after == code) for code in set(after.tolist()) - {after[one]}]
        best = max([0.0, *(table[one, rows].sum() / len(rows) ** 0.5 for rows in others)])
        assert best <= table[one, mine].sum() / max(len(mine), 1) ** 0.5 + LEAST_GAIN + 1e-6


def test_what_was_joined_first_is_taken_back() -> None:
    """Average linkage joins 0 and 1 at once; 1 then fits 2 and 3, joined later, better and moves over."""
    pairs = _pairs([(0, 1), (1, 2), (1, 3), (2, 3)])
    probability = np.array([0.86, 0.8, 0.8, 0.85])
    linked = link_by_mean(4, pairs, probability, 0.4)
    assert linked.tolist() == [0, 0, 1, 1]
    settled = settle(linked, pairs, probability, 0.4)
    assert settled[1] == settled[2] == settled[3] != settled[0]
