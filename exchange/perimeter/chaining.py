"""Tracks that go on where and when another ended are one: a log cut into files stays whole."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

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
    """Join each track to the one before it in time where that ended close by and shortly before."""
    chains: list[list[Whole]] = []
    for rows in sorted(runs, key=lambda rows: (float(seconds[rows[0]]), *xy[rows[0]].tolist())):
        if chains:
            last = chains[-1][-1][-1]
            wait, away = seconds[rows[0]] - seconds[last], np.hypot(*(xy[rows[0]] - xy[last]))
            if 0.0 <= wait <= _WITHIN_SECONDS and away <= _WITHIN_M:
                chains[-1].append(rows)
                continue
        chains.append([rows])
    return [np.concatenate(chain) for chain in chains]


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
    usual = np.array([np.median(np.hypot(*np.diff(xy[rows], axis=0).T)) if len(rows) > 1 else 0.0 for rows in runs])
    away = np.hypot(*(ends[:, None] - starts[None]).transpose(2, 0, 1))
    away[away > _WITHIN_STEPS * np.minimum(usual[:, None], usual[None])] = np.inf
    np.fill_diagonal(away, np.inf)
    first, second = np.unravel_index(int(away.argmin()), away.shape)
    return (int(first), int(second)) if np.isfinite(away[first, second]) else None
