from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.cluster.hierarchy import fcluster, linkage
from scipy.stats import chi2

from exchange.geo.frame import LocalFrame
from exchange.merge import MergeOptions, merge_detections
from exchange.merge.sightings import RADIUS_95
from exchange.model import Detections

FRAME = LocalFrame(-114.0, 44.5)


def _merge(places: np.ndarray, within_m: float) -> list[str]:
    """Return the spot of each place, with nothing known of sorties, images or times."""
    longitude, latitude = FRAME.to_degrees(*places.T)
    seen = Detections(longitude=longitude, latitude=latitude, accuracy=3.0)
    merged = merge_detections(seen, options=MergeOptions(within_m=within_m, shift="none"))
    labels: list[str] = merged.sightings.extra["spot"].tolist()
    return labels


def _partition(labels: list[str] | np.ndarray) -> set[frozenset[int]]:
    names = np.asarray(labels)
    return {frozenset(np.flatnonzero(names == name).tolist()) for name in set(names.tolist())}


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("side_m", [60.0, 120.0, 400.0])
def test_the_groups_are_those_of_complete_linkage(seed: int, side_m: float) -> None:
    """Without shifts and constraints: ``scipy.cluster.hierarchy``, method 'complete', cut at the distance."""
    places = np.random.default_rng([seed, 71]).uniform(0.0, side_m, (300, 2))
    expected = fcluster(linkage(places, "complete"), 5.0, "distance")
    assert _partition(_merge(places, 5.0)) == _partition(expected)


@given(st.integers(0, 10_000), st.floats(0.2, 4.9))
@settings(max_examples=40)
def test_separated_spots_are_found_whatever_the_distance(seed: int, within_m: float) -> None:
    """Twenty spots 30 m apart whose sightings lie within the distance of each other come out as they went in."""
    random = np.random.default_rng([seed, 72])
    corners = 30.0 * np.stack(np.meshgrid(np.arange(5), np.arange(4)), axis=-1).reshape(-1, 2)
    spot = random.integers(0, 20, 100)
    turn, reach = random.uniform(0.0, 2 * np.pi, 100), random.uniform(0.0, 0.49 * within_m, 100)
    places = corners[spot] + reach[:, None] * np.column_stack([np.cos(turn), np.sin(turn)])
    assert _partition(_merge(places, within_m)) == _partition(spot)


def test_the_radius_that_holds_95_in_100_is_that_of_the_tables() -> None:
    """Chi-square with 2 degrees of freedom at 95 %: 5.991 (NIST/SEMATECH e-Handbook, table 1.3.6.7.4)."""
    assert pytest.approx(5.991, abs=5e-4) == RADIUS_95**2
    assert pytest.approx(chi2.ppf(0.95, 2), rel=1e-12) == RADIUS_95**2
