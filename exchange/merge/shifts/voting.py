"""Difference voting: the shift between two sorties is where it explains most sightings of one by the other's.

Every sighting of the second sortie votes for the differences to its neighbours in the first. A vote is the logarithm
of how much likelier the sighting is under a shift than under chance, so that a sighting in a crowd, which many
shifts explain, votes weakly for each of them, and none votes more than once.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from functools import cache

import numpy as np
from numpy.typing import NDArray

from exchange.merge.shifts.differences import REACH_M, Differences

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]
Codes = NDArray[np.int64]

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

_HALF_WINDOW = int(_REPEATED_M / BIN_M) + 2
"""Bins around a peak that bear on a regular pattern."""

_FACTORS = 8
"""So many likelihoods are multiplied before a logarithm is taken; their product stays within single precision."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Peaks:
    """Say where votes pile up, for each couple of sorties.

    Attributes
    ----------
    east, north
        Metres.
    width
        Spread per axis that explained most, metres.
    margin
        How much higher the peak is than any place well away from it, natural logarithm.
    votes
        Over the shifts around the peak, bin by bin, above the median of all, the peak in the middle.
    """

    east: Floats
    north: Floats
    width: Floats
    margin: Floats
    votes: Singles

    def take(self, couples: NDArray[np.bool_]) -> Peaks:
        """Return those of some couples."""
        return Peaks(**{field.name: getattr(self, field.name)[couples] for field in fields(Peaks)})


def find_peaks(differences: Differences) -> Peaks:
    """Return where the votes pile up, for each couple; each must have a voter."""
    voters = np.bincount(differences.couple)
    step = np.maximum(voters // _FEW_VOTERS, 1)
    index = np.arange(len(differences.couple)) - np.repeat(np.cumsum(voters) - voters, voters)
    found = _find_peaks(differences.take(index % step[differences.couple] == 0))
    again = (step > 1) & (found.margin < _CLEAR_MARGIN)
    if again.any():
        _replace(found, again, _find_peaks(differences.take(again[differences.couple])))
    return found


def find_pattern(votes: Floats) -> float:
    """Return how high the next peak stands beside the first, as a share of it, in the votes of many couples together.

    Near 1 for a regular pattern of spots, which a shift by one step explains nearly as well; near 0 for scattered ones.
    """
    from scipy.ndimage import maximum_filter

    place = (np.arange(len(votes)) - len(votes) // 2) * BIN_M
    away = np.hypot(place[None, :], place[:, None])
    beside = (maximum_filter(votes, 5) == votes) & (away > _NEXT_M) & (away < _REPEATED_M)
    return float(votes[beside].max(initial=0.0) / max(votes[len(votes) // 2, len(votes) // 2], 1e-9))


def _replace(found: Peaks, couples: NDArray[np.bool_], by: Peaks) -> None:
    for field in fields(Peaks):
        getattr(found, field.name)[couples] = getattr(by, field.name)


def _find_peaks(differences: Differences) -> Peaks:
    """Return the peaks of the couples that have a voter, in their order."""
    column, line = (_find_bins(values) for values in (differences.east, differences.north))
    share = _share(differences)
    begins = np.flatnonzero(np.diff(differences.couple, prepend=-1))
    ends = np.append(begins[1:], len(differences.couple))
    first = np.searchsorted(differences.voter, begins)
    last = np.searchsorted(differences.voter, ends)
    height = np.empty((len(begins), _SIDE, _SIDE), np.float32)
    width = np.empty(len(begins))
    for index, (begin, a, b) in enumerate(zip(begins.tolist(), first.tolist(), last.tolist(), strict=True)):
        ballot = _Ballot.of(differences.voter[a:b] - begin, line[a:b], column[a:b], share[a:b])
        votes = [ballot.count(_spread(tried)) + _beyond_reach() for tried in WIDTHS_M]
        best = int(np.argmax([vote.max() for vote in votes]))
        height[index], width[index] = votes[best], WIDTHS_M[best]
    return _read_peaks(height, width)


def _find_bins(difference: Floats) -> Codes:
    return np.clip(((difference + REACH_M) / BIN_M).astype(np.int64), 0, _SIDE - 1)


def _share(differences: Differences) -> Singles:
    """Return how much likelier than by chance each difference makes its voter, per bin that it is spread over."""
    density = np.bincount(differences.voter, differences.weight) / (np.pi * REACH_M**2)
    ratio = differences.weight / (BIN_M**2 * density[differences.voter])
    return (MATCHED * ratio).astype(np.float32)


@dataclass(frozen=True, eq=False)
class _Ballot:
    """Hold the differences of one couple, a row a voter; the first column is what chance explains anyway."""

    line: Codes
    column: Codes
    share: Singles

    @classmethod
    def of(cls, voter: Codes, line: Codes, column: Codes, share: Singles) -> _Ballot:
        size = np.bincount(voter)
        # As many rows as make full products; one beyond the voters votes for nothing.
        shape = (-(-len(size) // _FACTORS) * _FACTORS, int(size.max()) + 1)
        skipped = np.arange(len(size)) * shape[1] + 1 - (np.cumsum(size) - size)
        place = np.arange(len(voter)) + np.repeat(skipped, size)
        ballot = cls(np.full(shape, _SIDE), np.full(shape, _SIDE), np.zeros(shape, np.float32))
        for target, values in ((ballot.line, line), (ballot.column, column), (ballot.share, share)):
            target.ravel()[place] = values
        ballot.share[:, 0] = np.where(np.arange(shape[0]) < len(size), 1 - MATCHED, 1.0)
        return ballot

    def count(self, kernel: Singles) -> Singles:
        """Return the height over all shifts, bin by bin, for differences that are spread by ``kernel``."""
        upward = kernel[self.line] * self.share[..., None]
        likelier = upward.swapaxes(-1, -2) @ kernel[self.column]
        products = likelier.reshape(-1, _FACTORS, _SIDE, _SIDE).prod(axis=1)
        height: Singles = np.log(products, out=products).sum(axis=0)
        return height


@cache
def _spread(width: float) -> Singles:
    """Return how each bin of one axis is spread over all, and a last row of ones."""
    place = np.arange(_SIDE) * BIN_M
    kernel = np.exp(-((place[:, None] - place[None, :]) ** 2) / (2 * width**2)) * BIN_M / (np.sqrt(2 * np.pi) * width)
    return np.vstack([kernel, np.ones(_SIDE)]).astype(np.float32)


@cache
def _beyond_reach() -> Singles:
    """Return minus infinity for bins that no shift may lie in, and 0 for the others."""
    return np.where(_within_reach(), 0.0, -np.inf).astype(np.float32)


@cache
def _within_reach() -> NDArray[np.bool_]:
    centre = _bin_centres()
    return np.asarray(centre[None, :] ** 2 + centre[:, None] ** 2 <= (REACH_M - 1) ** 2)


@cache
def _bin_centres() -> Floats:
    return ((np.arange(_SIDE) + 0.5) * BIN_M - REACH_M).astype(np.float64)


def _read_peaks(height: Singles, width: Floats) -> Peaks:
    """Return the highest place of each couple, and how it stands out; ``height`` has shape (couples, side, side)."""
    reach, centre = _within_reach(), _bin_centres()
    floor = np.median(height[:, reach], axis=1)
    flat = height.reshape(len(height), -1)
    line, column = np.unravel_index(flat.argmax(axis=1), (_SIDE, _SIDE))
    top = flat.max(axis=1)
    square = (centre - centre[line, None])[:, :, None] ** 2 + (centre - centre[column, None])[:, None, :] ** 2
    is_away = square > np.maximum(2.5 * width, _NEXT_M)[:, None, None] ** 2
    return Peaks(
        east=centre[column],
        north=centre[line],
        width=width,
        margin=(top - height.max(axis=(1, 2), where=is_away, initial=-np.inf)).astype(np.float64),
        votes=_cut_windows(height - floor[:, None, None], line, column),
    )


def _cut_windows(above: Singles, line: Codes, column: Codes) -> Singles:
    """Return what stands around each peak, 0 where nothing was counted."""
    padded = np.zeros((len(above), _SIDE + 2 * _HALF_WINDOW, _SIDE + 2 * _HALF_WINDOW), np.float32)
    padded[:, _HALF_WINDOW:-_HALF_WINDOW, _HALF_WINDOW:-_HALF_WINDOW] = np.where(np.isfinite(above), above, 0.0)
    across = np.arange(2 * _HALF_WINDOW + 1)
    which = np.arange(len(above))[:, None, None]
    windows: Singles = padded[which, (line[:, None] + across)[:, :, None], (column[:, None] + across)[:, None, :]]
    return windows
