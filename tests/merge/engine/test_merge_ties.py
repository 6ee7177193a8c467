from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import multivariate_normal

from exchange.merge import MergeOptions, merge_detections
from exchange.merge.grouping.pairs import Pairs
from exchange.merge.grouping.ties import UNKNOWN_SHIFT_M, learn_ties
from exchange.model import Detections
from tests.merge.test_merge_behaviour import sightings_at

APART = np.array([0, 1])


def test_what_two_sorties_share_is_the_larger_share_of_theirs() -> None:
    """Of ten and of two sightings one each has one of the other near: the smaller sortie says a half, (1.5 / 3)."""
    sortie = np.array([0] * 10 + [1] * 2)
    ties = learn_ties(Pairs(np.array([9]), np.array([10]), np.zeros(1)), sortie, APART)
    assert ties.odds == pytest.approx([0.0])


def test_the_unknown_shifts_are_part_of_the_noise() -> None:
    """The odds are those of a normal density, as scipy gives it, against evenly spread spots."""
    sortie = np.array([0] * 10 + [1] * 2)
    pairs = Pairs(np.array([9]), np.array([10]), np.array([4.0]))
    ties = learn_ties(pairs, sortie, APART)
    odds = ties.weigh(pairs, sortie, np.full(12, 2.0), np.full(12, 0.01))
    spread = (2 * 2.0 + 2 * UNKNOWN_SHIFT_M**2) * np.eye(2)
    expected = multivariate_normal([0.0, 0.0], spread).logpdf([4.0, 0.0]) - np.log(0.01)
    assert odds == pytest.approx([expected])


def test_a_stated_accuracy_holds_the_shift() -> None:
    """Pairs of two nets are untied, unless both files state an accuracy, or control ties the sorties together."""
    pairs = Pairs(np.array([0]), np.array([1]), np.zeros(1))
    ties = learn_ties(pairs, APART, APART)
    assert ties.mark_untied(pairs, APART, np.array([True, False])).tolist() == [True]
    assert ties.mark_untied(pairs, APART, np.array([True, True])).tolist() == [False]
    assert ties.tie(np.array([True, True])).mark_untied(pairs, APART, np.array([False, False])).tolist() == [False]


def _rows(count: int, begin_m: float) -> list[tuple[float, float]]:
    return [(begin_m + 9.0 * (k // 6), 9.0 * (k % 6)) for k in range(count)]


def test_sorties_over_ground_of_their_own_are_not_joined_at_the_border() -> None:
    """Two sorties meet at a line and share no spot: of 120 sightings, 2 m apart there, no two become one."""
    west, east = _rows(60, -88.0), [(x + 1.0, y + 0.5) for x, y in _rows(60, -6.0)]
    seen = [sightings_at(places, name, np.nan) for places, name in ((west, "A"), (east, "B"))]
    merged = merge_detections(Detections.join(seen))
    assert len(merged.spots) == 120


def test_few_spots_that_two_sorties_share_are_joined_in_spite_of_the_shift() -> None:
    """Three spots far apart, the second sortie off by 3.5 m: three spots, flagged, too few for a shift."""
    places = [(0.0, 0.0), (40.0, 5.0), (15.0, 50.0)]
    moved = [(x + 2.5, y - 2.5) for x, y in places]
    seen = [sightings_at(some, name, np.nan) for some, name in ((places, "A"), (moved, "B"))]
    merged = merge_detections(Detections.join(seen))
    assert len(merged.spots) == 3
    assert merged.report.flagged == 3
    assert len(merge_detections(Detections.join(seen), options=MergeOptions(within_m=2.0)).spots) == 6
