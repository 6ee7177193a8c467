"""Shifts and accuracies from groups: least squares over all sightings that are one spot."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Codes = NDArray[np.int64]

_ROUNDS = 12
_ROBUST = 3.0


def adjust_shifts(
    group: Codes, sortie: Codes, places: Floats, weight: Floats, start: Floats, is_free: NDArray[np.bool_]
) -> Floats:
    """Return the shift of each sortie that brings the sightings of each group nearest together.

    Spots and shifts are solved for in turn (damped Jacobi iteration on the normal equations); sightings far from their
    spot weigh less, after Huber.

    Parameters
    ----------
    group, sortie
        Of each sighting.
    places
        As given, metres, shape (n, 2).
    weight
        One over the variance per axis.
    start
        Shifts to begin with, shape (sorties, 2).
    is_free
        Which of them may change.
    """
    shared = _is_shared(group, sortie)
    group, sortie, places, weight = group[shared], sortie[shared], places[shared], weight[shared]
    shifts = start.copy()
    if not len(group):
        return shifts
    _, group = np.unique(group, return_inverse=True)
    total = _add(group, weight)
    robust = weight
    for _ in range(_ROUNDS):
        residual = [_take_mean(group, robust, total, own) for own in (places - shifts[sortie]).T]
        length = np.sqrt(weight * (residual[0] ** 2 + residual[1] ** 2))
        robust = weight * np.minimum(1.0, _ROBUST / np.maximum(length, 1e-9))
        total = _add(group, robust)
        room = np.bincount(sortie, robust * (1 - robust / total[group]), minlength=len(shifts))
        step = np.column_stack([np.bincount(sortie, robust * one, minlength=len(shifts)) for one in residual])
        moved = is_free & (room > 0)
        # Half a step: with two sorties, each would else make the whole way towards the other.
        shifts[moved] += step[moved] / room[moved, None] / 2
    return shifts


def _add(group: Codes, weight: Floats) -> Floats:
    return np.asarray(np.bincount(group, weight), np.float64)


def _take_mean(group: Codes, weight: Floats, total: Floats, values: Floats) -> Floats:
    """Return the values less their group's weighted mean; ``total`` are the groups' sums of weights."""
    values = np.ascontiguousarray(values)
    return np.asarray(values - (np.bincount(group, weight * values) / total)[group])


def estimate_variances(
    group: Codes, sortie: Codes, image: Codes, places: Floats, variance: Floats, count: int
) -> Floats:
    """Return the variance per axis of each sortie's sightings about their spots; NaN where too few tell.

    The mean of half the squared residual plus the variance of the spot itself: a step of expectation-maximisation.
    What several sorties saw tells, and repeats on known images; neighbours within one sortie without images do not,
    or a large variance would find itself confirmed.
    """
    size = np.bincount(group)
    several = (size[group] > 1) & (_is_shared(group, sortie) | (image >= 0))
    spot = _average(group, 1 / variance, places)
    square = ((places - spot[group]) ** 2).sum(axis=1) / 2 + 1 / np.bincount(group, 1 / variance)[group]
    told = np.bincount(sortie[several], minlength=count)
    total = np.bincount(sortie[several], square[several], minlength=count)
    return np.where(told >= 8, total / np.maximum(told, 1), np.nan)


def _is_shared(group: Codes, sortie: Codes) -> NDArray[np.bool_]:
    """Return which sightings are of a group that several sorties saw."""
    count = int(group.max(initial=-1)) + 1
    low, high = np.full(count, np.iinfo(np.int64).max), np.full(count, -1)
    np.minimum.at(low, group, sortie)
    np.maximum.at(high, group, sortie)
    return (low < high)[group]


def _average(group: Codes, weight: Floats, values: Floats) -> Floats:
    total = np.bincount(group, weight)
    return np.column_stack([np.bincount(group, weight * column) / total for column in values.T])
