from __future__ import annotations

import numpy as np

from exchange.merge.distinct import find_distinct, mark_changes
from exchange.merge.naming_sets import name_sets


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
