from __future__ import annotations

import os
from collections.abc import Iterator

import numpy as np
import pytest

from exchange.merge import MergeOptions, merge_detections
from exchange.merge.distinct import find_distinct, mark_changes
from exchange.merge.grouping import group_sightings
from exchange.merge.merge import merge_with
from exchange.merge.naming_sets import name_sets
from exchange.merge.threads import compute_in_threads
from tests.benchmarks.season import make_season


@pytest.mark.parametrize("threads", [1, 3])
@pytest.mark.parametrize("count", [0, 1, 2, 50])
def test_answers_come_in_order_and_few_are_asked_ahead(
    count: int, threads: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As ``map`` gives them, with no more questions made ahead than threads can take up, and a few."""
    monkeypatch.setattr(os, "cpu_count", lambda: threads)
    asked = []

    def ask() -> Iterator[int]:
        for number in range(count):
            asked.append(number)
            yield -number

    for turn, answer in enumerate(compute_in_threads(abs, ask())):
        assert answer == turn
        assert len(asked) <= turn + threads + 2
    assert len(asked) == count


def test_an_error_in_a_thread_is_the_callers() -> None:
    """Nothing is lost on the way."""
    with pytest.raises(ZeroDivisionError, match="division by zero"):
        list(compute_in_threads(lambda number: 1 / number, [2, 1, 0, 3]))


def test_threads_change_no_digit() -> None:
    """A season of many blocks of sorties, one after the other and in threads."""
    seen = make_season(24_000)
    options = MergeOptions()
    in_turn = merge_with(seen, onto=None, options=options, group=group_sightings, compute=map)
    in_threads = merge_detections(seen)
    assert in_turn.spots.differences(in_threads.spots) == []
    assert str(in_turn.report.as_dict()) == str(in_threads.report.as_dict())


def test_distinct_codes_are_those_of_numpy() -> None:
    """Against ``numpy.unique``, none at all included."""
    random = np.random.default_rng(11)
    for count in (0, 1, 500):
        codes = random.integers(-40, 40, count)
        np.testing.assert_array_equal(find_distinct(codes), np.unique(codes))
    assert mark_changes(np.array([1, 1, 1, 2]), np.array([5, 5, 6, 6])).tolist() == [True, False, True, True]


def test_sets_are_named_as_one_by_one() -> None:
    """Against joining each set by itself; empty sets have no name."""
    random, names = np.random.default_rng(12), [f"S-{number:03d}" for number in range(90)]
    sets = [sorted(random.choice(90, random.integers(0, 6), replace=False).tolist()) for _ in range(300)]
    holder = np.repeat(np.arange(300), [len(one) for one in sets])
    texts, size = name_sets(holder, np.array([index for one in sets for index in one]), 300, names)
    assert texts.tolist() == ["; ".join(names[index] for index in one) for one in sets]
    assert size.tolist() == [len(one) for one in sets]
