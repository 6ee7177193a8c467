from __future__ import annotations

import numpy as np
import pytest

from exchange.merge import MergeOptions, merge_detections
from exchange.merge.grouping.pairs import find_pairs_by_accuracy
from exchange.merge.grouping.repeats import Repeats, learn_repeats
from exchange.model import Detections
from tests.merge.test_merge_behaviour import sightings_at

SPOTS, NOISE_M = 400, 1.0


def _learn(seed: int, *, mean_repeats: float, spacing_m: float) -> tuple[Repeats, float]:
    """Return what is learned from one sortie over scattered spots, and the true pairs of repeats a sighting."""
    random = np.random.default_rng(seed)
    spots = [np.zeros(2)]
    while len(spots) < SPOTS:
        place = random.uniform(0.0, 1.6 * spacing_m * SPOTS**0.5, 2)
        if np.hypot(*(np.array(spots) - place).T).min() > spacing_m:
            spots.append(place)
    often = 1 + random.poisson(mean_repeats, SPOTS)
    places = np.repeat(np.array(spots), often, axis=0)
    places = places + random.normal(0.0, NOISE_M, places.shape)
    count = len(places)
    pairs = find_pairs_by_accuracy(*places.T, np.full(count, NOISE_M**2), np.arange(count), 18.4)
    true = float((often * (often - 1)).sum() / 2 / count)
    return learn_repeats(pairs, np.zeros(count, np.int64), ["A"]), true


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("spacing_m", [3.0, 8.0])
def test_a_tidied_sortie_is_known_by_its_distances(seed: int, spacing_m: float) -> None:
    """Spots seen once each leave next to no repeats, crowded or not, and its sightings exclude each other."""
    learned, _ = _learn(seed, mean_repeats=0.0, spacing_m=spacing_m)
    assert learned.pairs[0] < 0.035
    assert learned.exclude(np.zeros(1, np.int64), np.array([-1]))[0] > 0.5


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("mean_repeats", [0.3, 1.0])
def test_repeats_are_counted(seed: int, mean_repeats: float) -> None:
    """Where spots stand apart the pairs of repeats are found to a fifth, and exclude each other hardly."""
    learned, true = _learn(seed, mean_repeats=mean_repeats, spacing_m=8.0)
    assert learned.pairs[0] == pytest.approx(true, rel=0.2)
    assert learned.exclude(np.zeros(1, np.int64), np.array([7]))[0] < 0.01


def test_a_name_that_may_stand_for_several_sorties_excludes_nothing() -> None:
    """Rows that name no sortie are not taken for one that was tidied."""
    pairs = find_pairs_by_accuracy(np.arange(9.0) * 50, np.zeros(9), np.ones(9), np.arange(9), 18.4)
    learned = learn_repeats(pairs, np.zeros(9, np.int64), [""])
    assert learned.exclude(np.zeros(1, np.int64), np.array([-1]))[0] == 0.0
    assert learned.weigh(np.zeros(1, np.int64))[0] == 0.0


def test_two_spots_of_a_tidied_sortie_stay_two() -> None:
    """Two sorties without images see two spots 3 m apart, and forty others once each: none becomes one."""
    spots = [(0.0, 0.0), (3.0, 0.0), *((40.0 * (k % 8), 60.0 + 40.0 * (k // 8)) for k in range(40))]
    random = np.random.default_rng(5)
    seen = [
        sightings_at([tuple(np.array(spot) + random.normal(0.0, 0.8, 2)) for spot in spots], name, accuracy=2.0)
        for name in ("A", "B")
    ]
    merged = merge_detections(Detections.join(seen), options=MergeOptions(shift="none"))
    assert len(merged.spots) == len(spots)
