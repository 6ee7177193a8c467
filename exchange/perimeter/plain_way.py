"""A flight that is nothing but a way: a few straight pieces to somewhere, and back the same way or not at all."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

STRAIGHT_WITHIN_M: Final = 8.0
MOST_PIECES: Final = 3
LEAST_PIECE_M: Final = 100.0
"""Edges bend: an arc of less than 150 m radius makes shorter pieces than these, and a wider one more of them."""

ENDS_APART_SHARE: Final = 0.5
SAME_WAY_M: Final = 15.0
SAME_WAY_SHARE: Final = 0.95


def is_plain_way(path: Floats) -> bool:
    """Tell whether a path leads somewhere in a few straight pieces, and ends there or comes back along them.

    Parameters
    ----------
    path
        Metres, shape (n, 2), cleaned, hovers drawn together.
    """
    if len(path) < 2:
        return False
    turn = int(np.hypot(*(path - path[0]).T).argmax())
    out, back = path[: turn + 1], path[turn:]
    if not _is_in_few_pieces(out):
        return False
    if _length_m(back) < SAME_WAY_M:
        return True
    if _runs_along(back, out):
        return True
    apart = float(np.hypot(*(path[-1] - path[0])))
    return _is_in_few_pieces(path) and apart > ENDS_APART_SHARE * _length_m(path)


def _is_in_few_pieces(path: Floats) -> bool:
    import shapely

    if len(path) < 2:
        return False
    corners = shapely.get_coordinates(shapely.LineString(path).simplify(STRAIGHT_WITHIN_M))
    pieces = len(corners) - 1
    return pieces <= MOST_PIECES and _length_m(corners) >= LEAST_PIECE_M * pieces


def _runs_along(back: Floats, out: Floats) -> bool:
    import shapely

    line = shapely.LineString(back)
    places = shapely.line_interpolate_point(line, np.linspace(0.0, line.length, 200))
    distance = shapely.distance(places, shapely.LineString(out))
    return bool((distance < SAME_WAY_M).mean() >= SAME_WAY_SHARE)


def _length_m(path: Floats) -> float:
    return float(np.hypot(*np.diff(path, axis=0).T).sum())
