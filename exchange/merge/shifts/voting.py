"""Difference voting: the shift between two sorties is where it explains most sightings of one by the other's.

Every sighting of the second sortie votes for the differences to its neighbours in the first. A vote is the logarithm
of how much likelier the sighting is under a shift than under chance, so that a sighting in a crowd, which many
shifts explain, votes weakly for each of them, and none votes more than once.
"""

from __future__ import annotations

from collections.abc import Sequence
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

MATCHED = 0.4
"""Share of the sightings of one sortie that another is taken to have seen as well; the peak does not hang on it."""

_SIDE = int(2 * REACH_M / BIN_M)
_FEW_VOTERS = 30
_CLEAR_MARGIN = 30.0
"""With so high a margin a few voters are enough."""

_NEXT_M = 2.0
"""A peak nearer to the first than this is no other peak."""

_REPEATED_M = 9.0
"""How far apart the spots of a regular pattern are looked for."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Peak:
    """Say where votes pile up.

    Attributes
    ----------
    east, north
        Metres.
    width
        Spread per axis that explained most, metres.
    height
        Natural logarithm of the likelihood above chance.
    margin
        How much higher it is than any place well away from it.
    votes
        Over all shifts, bin by bin, above their median, the peak in the middle.
    """

    east: float
    north: float
    width: float
    height: float
    margin: float
    votes: Floats


def find_peak(voter: Codes, east: Floats, north: Floats, weight: Floats) -> Peak:
    """Return where the votes pile up.

    Parameters
    ----------
    voter
        Which sighting has the difference, from 0 without gaps, shape (n,).
    east, north
        Differences up to ``REACH_M``, metres, shape (n,).
    weight
        Of each difference, above 0, shape (n,).
    """
    few = voter % max((int(voter.max()) + 1) // _FEW_VOTERS, 1) == 0
    first = _find_peak(voter[few], east[few], north[few], weight[few])
    if few.all() or first.margin >= _CLEAR_MARGIN:
        return first
    return _find_peak(voter, east, north, weight)


def _find_peak(voter: Codes, east: Floats, north: Floats, weight: Floats) -> Peak:
    counts = _count(np.unique(voter, return_inverse=True)[1], east, north, weight)
    votes = [_vote(counts, width) for width in WIDTHS_M]
    best = int(np.argmax([vote.max() for vote in votes]))
    return _read_peak(votes[best], WIDTHS_M[best])


def find_pattern(all_votes: Sequence[Floats]) -> float:
    """Return how high the next peak stands beside the first, as a share of it, in all votes together.

    Near 1 for a regular pattern of spots, which a shift by one step explains nearly as well; near 0 for scattered ones.
    """
    from scipy.ndimage import maximum_filter

    if not all_votes:
        return 0.0
    votes = np.sum(all_votes, axis=0)
    place = (np.arange(len(votes)) - len(votes) // 2) * BIN_M
    away = np.hypot(place[None, :], place[:, None])
    beside = (maximum_filter(votes, 5) == votes) & (away > _NEXT_M) & (away < _REPEATED_M)
    return float(votes[beside].max(initial=0.0) / max(votes[len(votes) // 2, len(votes) // 2], 1e-9))


def _count(voter: Codes, east: Floats, north: Floats, weight: Floats) -> NDArray[np.float32]:
    voters = int(voter.max()) + 1
    column = np.clip(((east + REACH_M) / BIN_M).astype(np.int64), 0, _SIDE - 1)
    line = np.clip(((north + REACH_M) / BIN_M).astype(np.int64), 0, _SIDE - 1)
    cell = (voter * _SIDE + line) * _SIDE + column
    return np.bincount(cell, weight, minlength=voters * _SIDE**2).reshape(voters, _SIDE, _SIDE).astype(np.float32)


def _vote(counts: NDArray[np.float32], width: float) -> Floats:
    """Return the height over all shifts, bin by bin, for differences that spread by ``width`` per axis."""
    kernel = _spread(width)
    near = kernel @ counts @ kernel
    density = counts.sum(axis=(1, 2), keepdims=True) / (np.pi * REACH_M**2)
    ratio = near / (BIN_M**2 * density)
    height = np.log(1 - MATCHED + MATCHED * ratio).sum(axis=0).astype(np.float64)
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
    away = np.hypot(centre[None, :] - centre[column], centre[:, None] - centre[line]) > max(2.5 * width, _NEXT_M)
    top, floor = float(height[line, column]), float(np.median(height[np.isfinite(height)]))
    margin = top - float(height[away].max())
    above = np.pad(np.where(np.isfinite(height), height - floor, 0.0), _SIDE)
    half = _SIDE // 2
    votes = above[line + half : line + 3 * half + 1, column + half : column + 3 * half + 1]
    return Peak(
        east=float(centre[column]), north=float(centre[line]), width=width, height=top, margin=margin, votes=votes
    )
