from __future__ import annotations

import numpy as np
import pytest

from exchange.geo.frame import LocalFrame
from exchange.merge import Merged, MergeOptions, merge_detections
from exchange.merge.shifts.adjustment import adjust_shifts, estimate_variances
from exchange.merge.shifts.differences import Differences
from exchange.merge.shifts.network import Links, solve_network
from exchange.merge.shifts.voting import find_peaks
from exchange.model import Detections

FRAME = LocalFrame(-114.0, 44.5)
SHIFTS = {"A": (0.0, 0.0), "B": (4.0, -3.0), "C": (-2.0, 5.0)}


def _fly(places: np.ndarray, *, noise_m: float = 0.5, seed: int = 1, shifts: dict | None = None) -> Detections:
    random = np.random.default_rng(seed)
    rows = [
        (name, places + shift + random.normal(0.0, noise_m, places.shape))
        for name, shift in (SHIFTS if shifts is None else shifts).items()
    ]
    seen = np.vstack([one for _, one in rows])
    longitude, latitude = FRAME.to_degrees(*seen.T)
    return Detections(longitude=longitude, latitude=latitude, sortie=np.repeat([name for name, _ in rows], len(places)))


def _scattered(count: int = 60, side_m: float = 120.0, seed: int = 0) -> np.ndarray:
    """Return places in a square, no two of them nearer than 6 m."""
    random, places = np.random.default_rng(seed), [np.zeros(2)]
    while len(places) < count:
        place = random.uniform(0.0, side_m, 2)
        if np.hypot(*(np.array(places) - place).T).min() >= 6.0:
            places.append(place)
    return np.array(places)


def _found(merged: Merged) -> dict[str, tuple[float, float]]:
    return {one.sortie: (one.shift_east_m, one.shift_north_m) for one in merged.report.sorties}


def test_shifts_against_each_other_are_found() -> None:
    """Without control the shifts are right against each other to 0.3 m, and their mean is 0."""
    merged = merge_detections(_fly(_scattered()))
    found = np.array([_found(merged)[name] for name in SHIFTS])
    true = np.array(list(SHIFTS.values()))
    assert np.abs((found - found.mean(axis=0)) - (true - true.mean(axis=0))).max() < 0.3
    assert np.abs(found.mean(axis=0)).max() < 1e-6
    assert len(merged.spots) == 60


def test_control_makes_shifts_absolute_and_becomes_no_spot() -> None:
    """Against twelve surveyed points every shift is its true one to 0.5 m, and the list holds the seen spots only."""
    places = _scattered()
    longitude, latitude = FRAME.to_degrees(*places[:12].T)
    control = Detections(longitude=longitude, latitude=latitude, accuracy=0.1)
    merged = merge_detections(_fly(places), options=MergeOptions(control=control))
    for name, true in SHIFTS.items():
        assert _found(merged)[name] == pytest.approx(true, abs=0.5)
    assert len(merged.spots) == 60


def test_an_earlier_list_stays_where_it_is() -> None:
    """A new sortie is shifted onto the earlier list, whose spots keep their numbers and nearly their places."""
    places = _scattered()
    before = merge_detections(_fly(places, shifts={"A": (0.0, 0.0)}))
    after = merge_detections(_fly(places, seed=2, shifts={"B": (4.0, -3.0)}), onto=before.spots)
    assert after.spots.id.tolist() == before.spots.id.tolist()
    assert _found(after)["B"] == pytest.approx((4.0, -3.0), abs=0.3)


def test_a_lattice_is_left_unshifted_and_flagged() -> None:
    """A square pattern, which a shift by one step explains nearly as well, is told as such and every spot flagged."""
    lattice = 5.0 * np.stack(np.meshgrid(np.arange(14), np.arange(14)), axis=-1).reshape(-1, 2)
    report = merge_detections(_fly(lattice)).report
    assert not any(one.shift_applied for one in report.sorties)
    assert all("regular pattern" in one.shift_reason for one in report.sorties)
    assert report.flagged == report.spots


def test_votes_of_like_temperature_count_more() -> None:
    """Of two piles of differences with as many votes each, the one whose temperatures agree is the peak."""
    voter = np.repeat(np.arange(80), 2)
    east, north = np.tile([3.0, -5.0], 80), np.tile([1.0, 2.0], 80)
    # Two couples of sorties: in the first one the first pile is alike, in the second the other.
    weight = np.concatenate([np.tile([1.0, 0.1], 40), np.tile([0.1, 1.0], 40)])
    peaks = find_peaks(Differences(np.repeat([0, 1], 40), voter, east, north, weight))
    assert peaks.east == pytest.approx([3.0, -5.0], abs=0.5)
    assert peaks.north == pytest.approx([1.0, 2.0], abs=0.5)
    assert peaks.margin.min() > 10.0


def test_few_shared_spots_are_left_unshifted_and_flagged() -> None:
    """Two spots carry no shift."""
    report = merge_detections(_fly(np.array([[0.0, 0.0], [30.0, 10.0]]))).report
    assert not any(one.shift_applied for one in report.sorties)
    assert report.flagged == report.spots


def test_no_shift_is_looked_for_where_none_is_wanted() -> None:
    """With ``shift='none'`` positions stay as given and nothing is flagged for it."""
    merged = merge_detections(_fly(_scattered()), options=MergeOptions(shift="none"))
    assert not any(one.shift_applied for one in merged.report.sorties)
    assert merged.sightings.extra["shift_east_m"].tolist() == [0.0] * 180


def test_a_network_meets_all_links_that_agree() -> None:
    """Three sorties in a ring of agreeing links lie where the links say, with mean zero."""
    links = Links(
        first=np.array([0, 1, 0]),
        second=np.array([1, 2, 2]),
        east=np.array([1.0, -3.0, -2.0]),
        north=np.array([2.0, 1.0, 3.0]),
        variance=np.full(3, 0.01),
        support=np.full(3, 30.0),
        worth=np.full(3, 50.0),
        votes=np.zeros((3, 3, 3), np.float32),
    )
    place, net = solve_network(4, links)
    assert place[1] - place[0] == pytest.approx((1.0, 2.0), abs=1e-6)
    assert place[2] - place[0] == pytest.approx((-2.0, 3.0), abs=1e-6)
    assert len(set(net[:3].tolist())) == 1
    assert net[3] not in net[:3]


def test_adjustment_and_variance_are_those_of_simple_sums() -> None:
    """Two sorties that differ by (2, 0) everywhere are brought together; what is left has variance 0."""
    places = np.array([[0.0, 0.0], [2.0, 0.0], [9.0, 4.0], [11.0, 4.0]])
    group, sortie = np.array([0, 0, 1, 1]), np.array([0, 1, 0, 1])
    shifts = adjust_shifts(group, sortie, places, np.ones(4), np.zeros((2, 2)), np.ones(2, bool))
    assert shifts[1] - shifts[0] == pytest.approx((2.0, 0.0), abs=1e-3)
    many = np.tile(group, 10) + 2 * np.repeat(np.arange(10), 4)
    moved = np.tile(places - shifts[sortie], (10, 1))
    found = estimate_variances(many, np.tile(sortie, 10), np.arange(40), moved, np.full(40, 1e-12), 2)
    assert found == pytest.approx((0.0, 0.0), abs=1e-5)
