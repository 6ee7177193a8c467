from __future__ import annotations

import numpy as np
import pytest

from exchange.geo.frame import LocalFrame
from exchange.perimeter.narrow_neck import find_necks, judge_narrow_neck

FRAME = LocalFrame(-114.0, 44.5)


def make_dumbbell(width_m: float, length_m: float) -> np.ndarray:
    """Return two squares of 200 m joined by a strip."""
    half, far = width_m / 2, 200.0 + length_m
    left = [[200.0, half], [200.0, 100.0], [0.0, 100.0], [0.0, -100.0], [200.0, -100.0], [200.0, -half]]
    right = [[far, -half], [far, -100.0], [far + 200, -100.0], [far + 200, 100.0], [far, 100.0], [far, half]]
    return np.array(left + right)


@pytest.mark.parametrize(("width_m", "length_m"), [(60.0, 400.0), (12.0, 60.0)], ids=["wide", "short"])
def test_a_wide_or_a_short_waist_is_how_fires_are(width_m: float, length_m: float) -> None:
    """A waist that is wide enough to have burned, or short, is not flagged; nor is a square."""
    assert find_necks(make_dumbbell(width_m, length_m)) == []
    assert judge_narrow_neck(FRAME, [np.array([[0.0, 0.0], [50.0, 0.0], [50.0, 50.0], [0.0, 50.0]])]) == []


def test_a_long_strip_between_two_areas_is_flagged_in_its_middle() -> None:
    """Two ways 10 m apart over 400 m between two fires are named with their length and a place on them."""
    (found,) = judge_narrow_neck(FRAME, [make_dumbbell(10.0, 400.0)])
    assert found.code == "narrow-neck"
    assert found.figures["longest_m"] == pytest.approx(400.0, rel=0.1)
    x, y = FRAME.to_metres(*found.places[0])
    assert 200.0 < x < 600.0
    assert abs(y) < 5.0
