"""Ordered fixes cut into flights, and pieces of one flight joined, whatever files they came in."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from exchange.perimeter.thinning import passing_seconds, smooth_jitter

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]

_PAUSE_SECONDS = 60.0
_JOIN_WITHIN_SECONDS = 15.0
_JOIN_WITHIN_M = 150.0
_FEWEST_FIXES = 32
_LANDED_WITHIN_M, _LANDED_SECONDS, _AWAY_M = 15.0, 12.0, 60.0


@dataclass(frozen=True)
class Flight:
    """Hold one unbroken flight.

    Attributes
    ----------
    xy
        Metres, shape (n, 2), in flown order.
    seconds
        Time since the flight's start, of the path and not of the clock; NaN without times.
    rows
        Indices of the fixes.
    is_reversed
        Whether the order was turned round, so that a ring's direction does not matter.
    """

    xy: Floats
    seconds: Floats
    rows: Whole
    is_reversed: bool = False


def find_flights(xy: Floats, seconds: Floats, track: Whole) -> list[Whole]:
    """Return the rows of each flight, in order.

    A flight ends with its track or at a pause. Tracks that go on where and when another ended are one flight, so that
    a log cut into files stays whole.
    """
    if not len(xy):
        return []
    is_cut = np.diff(track) != 0
    with np.errstate(invalid="ignore"):
        is_cut |= (np.abs(np.diff(seconds)) > _PAUSE_SECONDS) & ~_is_clock_jump(xy, seconds)
    pieces = np.split(np.arange(len(xy)), np.flatnonzero(is_cut) + 1)
    return _join_pieces(pieces, xy, seconds)


def split_at_landings(xy: Floats, clock: Floats, rows: Whole) -> list[Whole]:
    """Return the rows of one log cut where it came back to its first or last place, stayed there, and left again.

    Parameters
    ----------
    xy
        Metres of all fixes.
    clock
        Seconds of all fixes, jumps of the clock and pauses left out; NaN without times.
    rows
        Indices of the fixes of the log, in flown order.
    """
    places, seconds = xy[rows], clock[rows]
    if len(rows) < _FEWEST_FIXES or not np.isfinite(seconds).all():
        return [rows]
    # Slow flight is no landing.
    least = max(_LANDED_SECONDS, passing_seconds(smooth_jitter(places), seconds, across_m=2.0 * _LANDED_WITHIN_M))
    cuts: set[int] = set()
    for launch in (places[0], places[-1]):
        away = np.hypot(*(places - launch).T)
        for start, end in _runs(away < _LANDED_WITHIN_M):
            is_left = away[:start].max(initial=0.0) > _AWAY_M and away[end:].max(initial=0.0) > _AWAY_M
            if is_left and seconds[end - 1] - seconds[start] > least:
                cuts.add((start + end) // 2)
    return [part for part in np.split(rows, sorted(cuts)) if len(part)]


def _runs(is_in: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Return the first place of each run, and the place behind its last."""
    edges = np.flatnonzero(np.diff(np.r_[False, is_in, False].astype(np.int8)))
    return list(zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True))


def orient_flight(xy: Floats, seconds: Floats, rows: Whole) -> Flight:
    """Return the flight in the direction that encloses its area counter-clockwise, ties by where it starts."""
    area = float(np.sum(xy[:-1, 0] * xy[1:, 1] - xy[1:, 0] * xy[:-1, 1]) + xy[-1, 0] * xy[0, 1] - xy[0, 0] * xy[-1, 1])
    is_reversed = area < 0.0 or (area == 0.0 and tuple(xy[-1]) < tuple(xy[0]))
    if not is_reversed:
        return Flight(xy, seconds, rows)
    return Flight(xy[::-1], (seconds[-1] - seconds)[::-1], rows[::-1], is_reversed=True)


def _is_clock_jump(xy: Floats, seconds: Floats) -> NDArray[np.bool_]:
    """Tell at which steps the clock went on but the aircraft did not pause: it moved on at its usual step."""
    step = np.hypot(*np.diff(xy, axis=0).T)
    moving = step[step > 0.1]
    usual = np.median(moving) if len(moving) else 0.0
    return np.asarray((step > 0.4 * usual) & (step < 3.0 * usual + 3.0))


def _join_pieces(pieces: list[Whole], xy: Floats, seconds: Floats) -> list[Whole]:
    timed = [piece for piece in pieces if np.isfinite(seconds[piece]).all()]
    untimed = [piece for piece in pieces if not np.isfinite(seconds[piece]).all()]
    timed.sort(key=lambda piece: (seconds[piece[0]], *xy[piece[0]]))
    untimed.sort(key=lambda piece: min(tuple(xy[piece[0]]), tuple(xy[piece[-1]])))
    joined: list[list[Whole]] = []
    for piece in timed:
        if joined and _goes_on(joined[-1][-1][-1], piece[0], xy, seconds):
            joined[-1].append(piece)
        else:
            joined.append([piece])
    return [np.concatenate(parts) for parts in joined] + untimed


def _goes_on(last: int, first: int, xy: Floats, seconds: Floats) -> bool:
    wait = seconds[first] - seconds[last]
    return bool(0.0 <= wait <= _JOIN_WITHIN_SECONDS and np.hypot(*(xy[first] - xy[last])) <= _JOIN_WITHIN_M)
