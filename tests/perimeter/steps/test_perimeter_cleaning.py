from __future__ import annotations

import itertools

import numpy as np
import pytest
from numpy.typing import NDArray

from exchange.geo.frame import LocalFrame
from exchange.model import Track
from exchange.perimeter import trace_perimeter
from exchange.perimeter.cleaning import clean_fixes, is_logged
from exchange.perimeter.fixes import gather_fixes

Floats = NDArray[np.float64]
CORNERS = np.array([(0.0, 0.0), (1000.0, 0.0), (1000.0, 1000.0), (0.0, 1000.0), (0.0, 0.0)])
SQUARE = np.vstack([np.linspace(a, b, 250, endpoint=False) for a, b in itertools.pairwise(CORNERS)])
NO_TIME = np.full(len(SQUARE), np.nan)


def track_of(xy: Floats) -> Track:
    longitude, latitude = LocalFrame(-114.0, 44.5).to_degrees(xy[:, 0], xy[:, 1])
    return Track(longitude=longitude, latitude=latitude)


def test_a_line_straight_to_the_centimetre_is_drawn() -> None:
    """Even steps without times are a log where they hold a receiver's noise, a drawing where they hold none."""
    noisy = SQUARE + np.random.default_rng(1000).normal(0.0, 0.3, SQUARE.shape)
    assert not is_logged(*SQUARE.T, NO_TIME)
    assert is_logged(*noisy.T, NO_TIME)
    assert is_logged(*SQUARE.T, np.arange(float(len(SQUARE))))


@pytest.mark.parametrize("first", [0, 100])
def test_a_drawn_square_is_a_square(first: int) -> None:
    """Sides of a kilometre with a place every four metres, begun at a corner or within a side: 100 ha."""
    traced = trace_perimeter([track_of(np.roll(SQUARE, -first, axis=0))])
    assert not traced.flags
    assert traced.report.area_m2 == pytest.approx(1e6, rel=1e-4)


def test_one_fix_more_leaves_the_frame_where_it_was() -> None:
    """A fix thrown far off moves nothing else, not by a rounding: the frame stands on a whole hundredth of a degree."""
    alone = clean_fixes(gather_fixes([track_of(SQUARE)]))
    more = clean_fixes(gather_fixes([track_of(np.vstack([SQUARE, [[9e3, 9e3]]]))]))
    assert alone is not None
    assert more is not None
    assert (more.xy[: len(alone.xy)] == alone.xy).all()
