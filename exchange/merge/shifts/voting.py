"""Difference voting: the shift between two sorties is where it explains most sightings of one by the other's.

Every sighting of the second sortie votes for the differences to its neighbours in the first. A vote is the logarithm
of how much likelier the sighting is under a shift than under chance, so that a sighting in a crowd, which many
shifts explain, votes weakly for each of them, and none votes more than once.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Codes = NDArray[np.int64]

REACH_M = 14.0
"""Two sorties may lie this far off each other: twice the 6-7 m that receivers are off at worst (from memory)."""

BIN_M = 0.5
WIDTHS_M = (0.6, 1.2, 2.4)
"""Spreads of a difference per axis that are tried, metres."""

MATCHED = 0.7
"""Share of the sightings of one sortie that another is taken to have seen as well; the peak does not hang on it."""

_SIDE = int(2 * REACH_M / BIN_M)


@dataclass(frozen=True, kw_only=True)
class Peak:
    """Say where votes pile up.

    Attributes
    ----------
    east, north
        Metres.
    width
        Spread per axis that explained most, metres.
    height
        Logarithm of the likelihood above chance.
    rival
        Height of the next peak as a share of this one's.
    """

    east: float
    north: float
    width: float
    height: float
    rival: float


def find_peak(voter: Codes, east: Floats, north: Floats) -> Peak:
    """Return where the votes pile up.

    Parameters
    ----------
    voter
        Which sighting has the difference, from 0 without gaps, shape (n,).
    east, north
        Differences up to ``REACH_M``, metres, shape (n,).
    """
    counts = _count(voter, east, north)
    votes = [_vote(counts, width) for width in WIDTHS_M]
    best = int(np.argmax([vote.max() for vote in votes]))
    return _read_peak(votes[best], WIDTHS_M[best])


def _count(voter: Codes, east: Floats, north: Floats) -> NDArray[np.float32]:
    voters = int(voter.max()) + 1
    column = np.clip(((east + REACH_M) / BIN_M).astype(np.int64), 0, _SIDE - 1)
    line = np.clip(((north + REACH_M) / BIN_M).astype(np.int64), 0, _SIDE - 1)
    cell = (voter * _SIDE + line) * _SIDE + column
    return np.bincount(cell, minlength=voters * _SIDE**2).reshape(voters, _SIDE, _SIDE).astype(np.float32)


def _vote(counts: NDArray[np.float32], width: float) -> Floats:
    """Return the height over all shifts, bin by bin, for differences that spread by ``width`` per axis."""
    kernel = _spread(width)
    near = kernel @ counts @ kernel
    density = counts.sum(axis=(1, 2), keepdims=True) / (np.pi * REACH_M**2)
    ratio = near / (BIN_M**2 * density)
    height: Floats = np.log(1 - MATCHED + MATCHED * ratio).sum(axis=0, dtype=np.float64)
    return np.where(_is_within_reach(), height, -np.inf)


def _spread(width: float) -> NDArray[np.float32]:
    place = np.arange(_SIDE) * BIN_M
    kernel = np.exp(-((place[:, None] - place[None, :]) ** 2) / (2 * width**2))
    scaled: NDArray[np.float32] = (kernel * BIN_M / (np.sqrt(2 * np.pi) * width)).astype(np.float32)
    return scaled


def _is_within_reach() -> NDArray[np.bool_]:
    centre = _bin_centres()
    return centre[None, :] ** 2 + centre[:, None] ** 2 <= (REACH_M - 1) ** 2


def _bin_centres() -> Floats:
    return ((np.arange(_SIDE) + 0.5) * BIN_M - REACH_M).astype(np.float64)


def _read_peak(height: Floats, width: float) -> Peak:
    line, column = np.unravel_index(int(np.argmax(height)), height.shape)
    centre = _bin_centres()
    away = np.hypot(centre[None, :] - centre[column], centre[:, None] - centre[line]) > max(2.5 * width, 2.0)
    top = float(height[line, column])
    second = float(height[away].max())
    return Peak(
        east=float(centre[column]),
        north=float(centre[line]),
        width=width,
        height=top,
        rival=max(second, 0.0) / max(top, 1e-9),
    )
