from __future__ import annotations

import numpy as np
import pytest

from exchange.perimeter.judging import NOISE_LARGE, find_lost_in_noise
from exchange.perimeter.meetings import find_meetings


def make_disc(radius_m: float) -> np.ndarray:
    """Return 400 places spread over a disc."""
    turn, out = np.arange(400) * 2.4, radius_m * np.sqrt(np.arange(400) / 400)
    return np.column_stack([out * np.cos(turn), out * np.sin(turn)])


@pytest.mark.parametrize(
    ("noise_m", "radius_m", "is_lost"), [(5.0, 50.0, True), (5.0, 200.0, False), (2.0, 20.0, False)]
)
def test_scatter_is_judged_against_the_width_of_all_fixes(noise_m: float, radius_m: float, is_lost: bool) -> None:
    """Noise of a tenth of the width is why no ring closes; the noise of a common receiver is not."""
    found = find_lost_in_noise(noise_m, make_disc(radius_m))
    assert (found is not None) is is_lost
    assert found is None or (found.code == NOISE_LARGE and "5.0 m" in found.words)


def test_bends_of_few_fixes_are_no_scatter() -> None:
    """Thirty fixes around a small fire lie off the line through their neighbours because it bends."""
    assert find_lost_in_noise(5.0, make_disc(50.0)[::13]) is None


def test_a_drawn_line_has_no_noise() -> None:
    """Where the noise is not known nothing is said of it."""
    assert find_lost_in_noise(float("nan"), make_disc(20.0)) is None


def test_meetings_of_pure_scatter_stay_few() -> None:
    """A path that fills a disc meets itself everywhere; what comes back is bounded, and each pair in its order."""
    steps = np.random.default_rng(9).normal(0.0, 2.5, (6000, 2))
    scatter = np.cumsum(steps - 0.02 * np.cumsum(steps, axis=0) / np.arange(1, 6001)[:, None], axis=0) % 80.0
    junctions = find_meetings(scatter, 2.5).junctions
    assert len(junctions) < 2000
    assert (junctions[:, 0] < junctions[:, 1]).all()
