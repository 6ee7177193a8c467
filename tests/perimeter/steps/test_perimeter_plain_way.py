from __future__ import annotations

import numpy as np
import pytest

from exchange.perimeter.plain_way import is_plain_way


def make_line(*corners: tuple[float, float]) -> np.ndarray:
    """Return places 5 m apart along straight lines, some metres beside them."""
    at = np.array(corners)
    along = np.r_[0.0, np.cumsum(np.hypot(*np.diff(at, axis=0).T))]
    wanted = np.arange(0.0, along[-1], 5.0)
    places = np.column_stack([np.interp(wanted, along, at[:, axis]) for axis in (0, 1)])
    return places + 1.5 * np.sin(wanted / 30.0)[:, None]


def make_arc(radius_m: float, degrees: float) -> np.ndarray:
    """Return places along an arc."""
    angle = np.radians(np.linspace(0.0, degrees, 200))
    return radius_m * np.column_stack([np.cos(angle), np.sin(angle)])


@pytest.mark.parametrize(
    "path",
    [
        make_line((0, 0), (600, 100)),
        make_line((0, 0), (300, 100), (500, 500)),
        make_line((0, 0), (300, 100), (500, 500), (300, 100), (0, 0)),
        make_line((0, 0), (300, 100), (500, 500), (300, 100), (150, 50)),
    ],
    ids=["straight", "bent", "there-and-back", "lands-on-the-way"],
)
def test_a_few_straight_pieces_are_a_way(path: np.ndarray) -> None:
    """A way is one from either end, straight or bent, with the way back or without."""
    assert is_plain_way(path)


HALF = make_arc(40.0, 180.0)[::-1] * [1, -1]


@pytest.mark.parametrize(
    "path",
    [
        *(make_arc(radius_m, degrees) for radius_m in (40.0, 70.0, 150.0, 300.0, 1000.0) for degrees in (180.0, 350.0)),
        make_line((0, 0), (300, 0), (300, 300), (0, 300), (0, 0)),
        make_line((0, 0), (400, 0), (400, 300), (0, 300)),
        make_line((0, 0), (400, 0), (200, 300), (0, 0)),
        np.vstack([make_line((-300, 0), (-40, 0)), HALF, make_line((40, 0), (-300, 30))]),
    ],
)
def test_edges_are_no_way(path: np.ndarray) -> None:
    """Arcs, squares, triangles and half rings with ways are not taken for a way only."""
    assert not is_plain_way(path)
