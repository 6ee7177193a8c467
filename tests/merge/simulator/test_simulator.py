from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial import cKDTree

from tests.merge.simulator.regimes import NOISES_M, REGIMES, SPACINGS_M
from tests.merge.simulator.scoring import (
    count_error,
    score_pairs,
    share_of_numbers_kept,
    share_of_numbers_standing,
    shares_flagged,
)
from tests.merge.simulator.simulate import FRAME, Simulated, simulate
from tests.merge.simulator.told import group_told


def test_the_adjusted_rand_index_is_the_published_one() -> None:
    """Worked examples in the documentation of scikit-learn, ``adjusted_rand_score`` (a library of its own)."""
    assert score_pairs([0, 0, 1, 1], [1, 1, 0, 0]).adjusted_rand == 1.0
    assert score_pairs([0, 0, 1, 2], [0, 0, 1, 1]).adjusted_rand == pytest.approx(0.5714285714, abs=1e-9)
    assert score_pairs([0, 0, 1, 1], [0, 0, 1, 2]).adjusted_rand == pytest.approx(0.5714285714, abs=1e-9)
    assert score_pairs([0, 0, 0, 0], [0, 1, 2, 3]).adjusted_rand == 0.0
    assert score_pairs([0, 0, 1, 1], [0, 1, 0, 1]).adjusted_rand == pytest.approx(-0.5)


def test_pairs_are_counted() -> None:
    """Of three true pairs and one made pair that is true, precision is 1 and recall a third."""
    score = score_pairs(["a", "a", "a", "b"], [1, 1, 2, 3])
    assert (score.precision, score.recall, score.f1) == (1.0, pytest.approx(1 / 3), pytest.approx(0.5))


def test_counts_are_compared_with_the_truth() -> None:
    """Three found where there are two is half too many."""
    assert count_error([1, 1, 2], ["x", "y", "z"]) == 0.5


def test_a_number_is_kept_when_it_still_names_its_spot() -> None:
    """Of two numbers one names another spot afterwards."""
    assert share_of_numbers_kept([5, 5, 6], ["H-1", "H-1", "H-2"], [5, 5, 6, 6], ["H-1", "H-1", "H-3", "H-3"]) == 0.5


def test_a_number_stands_where_most_of_its_sightings_have_it() -> None:
    """Of three numbers one was folded into another and counts by its alias only, one lost a sighting of three."""
    before, after = ["H-1", "H-1", "H-1", "H-2", "H-3"], ["H-1", "H-1", "H-4", "H-2", "H-2"]
    assert share_of_numbers_standing(before, after) == pytest.approx(2 / 3)
    assert share_of_numbers_standing(before, after, {"H-3": "H-2"}) == 1.0


def test_wrong_and_right_spots_are_told_apart_before_flags_are_counted() -> None:
    """A mixed and a cut spot are wrong, a whole one and a false alarm alone are right."""
    truth, found = [1, 1, 2, 3, 3, -1, 4], ["a", "b", "b", "c", "c", "d", "b"]
    assert shares_flagged(truth, found, {"a", "c"}) == (0.5, 0.5)


@pytest.mark.parametrize("name", REGIMES)
def test_a_simulated_fire_is_what_its_regime_says(name: str) -> None:
    """Spacing, noise, misses, false alarms, and what sightings tell of themselves, on a seed that no figure uses."""
    fire, regime = simulate(name, 777), REGIMES[name]
    x, y = FRAME.to_metres(fire.sightings.longitude, fire.sightings.latitude)
    assert np.allclose(np.column_stack([x, y]), np.vstack([flight.places for flight in fire.flights]), atol=1e-3)
    nearest = cKDTree(fire.spots.places).query(fire.spots.places, k=2)[0][:, 1]
    assert regime.spacing_m[0] - 1e-6 <= nearest.min() <= nearest.max() <= regime.spacing_m[1] + 1e-6
    assert regime.sorties[0] <= len(fire.flights) <= regime.sorties[1]
    assert ("image" in fire.sightings.extra) == regime.has_images
    assert np.isnat(fire.sightings.time).all() != regime.has_times
    for number, flight in enumerate(fire.flights):
        _check_flight(fire, number)
        assert regime.shift_m[0] <= np.hypot(*flight.shift) <= regime.shift_m[1]


def _check_flight(fire: Simulated, number: int) -> None:
    """Hold one sortie against its regime, within what chance allows (four standard errors)."""
    flight, regime = fire.flights[number], fire.regime
    real = flight.spot >= 0
    off = flight.places[real] - flight.shift - fire.spots.places[flight.spot[real]]
    images = len(np.unique(flight.image[real])) if regime.image_noise_m[1] else len(off)
    assert abs(off.std() / flight.noise_m - 1.0) < 4.0 / np.sqrt(2.0 * images)
    assert regime.noise_m[0] <= flight.noise_m <= np.hypot(regime.noise_m[1], regime.image_noise_m[1])
    x = fire.spots.places[:, 0]
    covered = (x >= flight.band[0]) & (x < flight.band[1])
    seen = len(np.unique(flight.spot[real]))
    assert abs(seen - flight.seen * covered.sum()) < 4.0 * np.sqrt(max(covered.sum(), 1) * flight.seen) * 0.5 + 1.0
    assert abs((~real).mean() - np.mean(regime.false_alarms)) <= np.ptp(regime.false_alarms) / 2.0 + 0.5 / len(real)
    assert len(np.unique(np.column_stack([flight.image, flight.spot])[real], axis=0)) == real.sum()


def test_the_regimes_are_named_by_spacing_and_noise() -> None:
    """Every spacing is crossed with every noise."""
    assert {f"{spacing}_{noise}" for spacing in SPACINGS_M for noise in NOISES_M} <= set(REGIMES)


def test_the_same_seed_gives_the_same_fire() -> None:
    """Nothing but the name and the seed decides."""
    assert simulate("low_cover", 3).sightings == simulate("low_cover", 3).sightings
    assert simulate("low_cover", 3).sightings != simulate("low_cover", 4).sightings


def test_the_told_solver_is_right_where_nothing_is_hard() -> None:
    """Told the shifts, it puts sparse spots of little noise together without a fault worth naming."""
    fire = simulate("sparse_low", 778)
    assert score_pairs(fire.truth, group_told(fire)).f1 > 0.995
