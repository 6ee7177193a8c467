"""Tracks that go on where and when another ended are one: a log cut into files stays whole."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from exchange.perimeter.ordering import order_rows

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]

_WITHIN_SECONDS: Final = 15.0
_WITHIN_M: Final = 150.0
_WITHIN_STEPS: Final = 3.0


def chain_tracks(xy: Floats, seconds: Floats, track: Whole) -> list[Whole]:
    """Return the rows of each chain of tracks, in an order that does not rest on the order of the files.

    Parameters
    ----------
    xy
        Metres, shape (n, 2).
    seconds
        Of each fix; NaN without times.
    track
        Which track a fix is of, in runs.
    """
    runs = np.split(np.arange(len(track)), np.flatnonzero(np.diff(track)) + 1) if len(track) else []
    timed = [rows for rows in runs if np.isfinite(seconds[rows]).all()]
    untimed = [rows for rows in runs if not np.isfinite(seconds[rows]).all()]
    return _chain_by_time(timed, xy, seconds) + _chain_by_place(untimed, xy)


def _chain_by_time(runs: list[Whole], xy: Floats, seconds: Floats) -> list[Whole]:
    """Join each track to one that ended close by and shortly before, or whose rows it goes on among."""
    chains: list[Whole] = []
    ordered = [rows[order_rows(xy[rows, 0], xy[rows, 1], seconds[rows])] for rows in runs]
    for rows in sorted(ordered, key=lambda rows: (float(seconds[rows].min()), *xy[rows[0]].tolist())):
        for number in range(len(chains) - 1, -1, -1):
            if _goes_on(chains[number], rows, xy, seconds):
                chains[number] = np.concatenate([chains[number], rows])
                break
            if _goes_on_among(chains[number], rows, xy, seconds):
                chains[number] = _by_time(chains[number], rows, seconds)
                break
        else:
            chains.append(rows)
    return chains


def _goes_on(before: Whole, after: Whole, xy: Floats, seconds: Floats) -> bool:
    wait, away = seconds[after[0]] - seconds[before[-1]], np.hypot(*(xy[after[0]] - xy[before[-1]]))
    return bool(0.0 <= wait <= _WITHIN_SECONDS and away <= _WITHIN_M)


def _goes_on_among(first: Whole, second: Whole, xy: Floats, seconds: Floats) -> bool:
    """Tell whether two tracks of the same time are one: rows of a log that are out of order where it was cut.

    Put together by time they make a shorter path than alone; those of two aircraft make one to and fro between them.
    """
    low, high = max(seconds[first].min(), seconds[second].min()), min(seconds[first].max(), seconds[second].max())
    if not low <= high:
        return False
    alone = _length_m(xy[first]) + _length_m(xy[second])
    return _length_m(xy[_by_time(first, second, seconds)]) < alone


def _by_time(first: Whole, second: Whole, seconds: Floats) -> Whole:
    rows = np.concatenate([first, second])
    return rows[np.argsort(seconds[rows], kind="stable")]


def _length_m(xy: Floats) -> float:
    return float(np.hypot(*np.diff(xy, axis=0).T).sum())


def _chain_by_place(runs: list[Whole], xy: Floats) -> list[Whole]:
    """Join lines without times end to start, where no more than a few usual steps lie between."""
    left = sorted(runs, key=lambda rows: (*xy[rows[0]].tolist(), *xy[rows[-1]].tolist()))
    while (pair := _nearest_pair(left, xy)) is not None:
        first, second = pair
        joined = np.concatenate([left[first], left[second]])
        left = [rows for index, rows in enumerate(left) if index not in pair] + [joined]
    return sorted(left, key=lambda rows: min(xy[rows[0]].tolist(), xy[rows[-1]].tolist()))


def _nearest_pair(runs: list[Whole], xy: Floats) -> tuple[int, int] | None:
    if len(runs) < 2:
        return None
    starts, ends = xy[[rows[0] for rows in runs]], xy[[rows[-1] for rows in runs]]
    first_steps = np.array([xy[rows[min(1, len(rows) - 1)]] - xy[rows[0]] for rows in runs])
    last_steps = np.array([xy[rows[-1]] - xy[rows[max(len(rows) - 2, 0)]] for rows in runs])
    usual = np.array([np.median(np.hypot(*np.diff(xy[rows], axis=0).T)) if len(rows) > 1 else 0.0 for rows in runs])
    gap = starts[None] - ends[:, None]
    # A line that was cut goes on by a step like its last; two ends that only meet seldom do.
    missed = np.maximum(_lengths(gap - last_steps[:, None]), _lengths(gap - first_steps[None]))
    missed[_lengths(gap) > _WITHIN_STEPS * np.minimum(usual[:, None], usual[None])] = np.inf
    np.fill_diagonal(missed, np.inf)
    first, second = np.unravel_index(int(missed.argmin()), missed.shape)
    return (int(first), int(second)) if np.isfinite(missed[first, second]) else None


def _lengths(vectors: Floats) -> Floats:
    return np.asarray(np.hypot(vectors[..., 0], vectors[..., 1]))
