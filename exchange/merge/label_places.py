"""Where numbers can stand beside their spots without covering each other."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

_WIDTH_OF_A_LETTER, _HEIGHT = 0.62, 1.1
"""Of a letter, in sizes of the type; wide enough for a sans-serif type."""

_TURNS = ((1, 1), (1, -1), (-1, 1), (-1, -1), (1, 0), (-1, 0), (0, 1), (0, -1))


def place_labels(
    x: Floats, y: Floats, labels: ArrayLike, order: Sequence[int] | NDArray[np.int64], room: Floats, size: float
) -> dict[int, tuple[float, float]]:
    """Return for each label that finds room its middle's offset from its spot.

    Each label in its turn takes the first of eight places around its spot that covers no label placed before and the
    middle of no spot; one without such a place is left out.

    Parameters
    ----------
    x, y
        Of the spots, in points of the picture, shape (n,).
    labels
        Texts, shape (n,).
    order
        Rows in the order in which they choose.
    room
        How far from the spot's middle a label begins, points, shape (n,).
    size
        Of the type, points.
    """
    half_height = _HEIGHT * size / 2.0
    texts = [str(text) for text in np.asarray(labels).tolist()]
    placed: list[tuple[float, float, float]] = []
    spots = np.column_stack([x, y])
    found: dict[int, tuple[float, float]] = {}
    for row in (int(one) for one in order):
        half_width = _WIDTH_OF_A_LETTER * size * len(texts[row]) / 2.0
        near = spots[np.abs(spots - spots[row]).max(axis=1) < 60.0]
        for across, up in _TURNS:
            offset = (across * (room[row] * (0.8 if up else 1.0) + half_width), up * (room[row] * 0.8 + half_height))
            middle = (x[row] + offset[0], y[row] + offset[1])
            if not _covers(middle, half_width, half_height, placed, near):
                placed.append((*middle, half_width))
                found[row] = offset
                break
    return found


def _covers(
    middle: tuple[float, float],
    half_width: float,
    half_height: float,
    placed: list[tuple[float, float, float]],
    spots: Floats,
) -> bool:
    x, y = middle
    if np.any((np.abs(spots[:, 0] - x) < half_width + 1.0) & (np.abs(spots[:, 1] - y) < half_height + 1.0)):
        return True
    return any(abs(a - x) < half_width + half and abs(b - y) < 2.0 * half_height for a, b, half in placed)
