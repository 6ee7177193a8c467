"""The first steps together: every fix that cannot have been flown is set aside with its reason."""

from __future__ import annotations

import math
from dataclasses import fields, replace
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from exchange.geo.frame import LocalFrame
from exchange.perimeter.chaining import chain_tracks
from exchange.perimeter.fixes import Fixes, find_placeless
from exchange.perimeter.ordering import find_repeats, intervals_seconds, order_rows
from exchange.perimeter.spikes import find_spikes

Floats = NDArray[np.float64]

_LEAST_NOISE_M: Final = 0.03
"""Twice what seven decimals of a degree round by."""

NO_POSITION, REPEATED, FROZEN, SPIKE = "no position", "repeated", "frozen", "spike"


class Cleaned(NamedTuple):
    """Hold the fixes that were kept and those that were not.

    Parameters
    ----------
    frame
        The metres of ``xy``.
    fixes, xy
        What was kept, flight by flight in flown order, ``track`` counting the tracks that go on in each other as one;
        xy has shape (n, 2).
    interval_seconds
        From the fix before, in the air: clock jumps taken out; 0 at the start of a track.
    removed, reason
        What was not kept, and why.
    """

    frame: LocalFrame
    fixes: Fixes
    xy: Floats
    interval_seconds: Floats
    removed: Fixes
    reason: NDArray[np.object_]

    @property
    def reach_m(self) -> float:
        """How far the kept fixes lie apart, corner to corner."""
        return float(np.hypot(*np.ptp(self.xy, axis=0))) if len(self.xy) else 0.0


def clean_fixes(fixes: Fixes) -> Cleaned | None:
    """Return the fixes that an aircraft can have flown; ``None`` where not one has a position."""
    is_placeless = find_placeless(fixes.longitude, fixes.latitude)
    if is_placeless.all():
        return None
    placed = fixes.take(~is_placeless)
    frame = _middle_frame(placed)
    x, y = frame.to_metres(placed.longitude, placed.latitude)
    reason = np.full(len(placed), "", dtype=object)
    order, intervals = [], []
    for rows in chain_tracks(np.column_stack([x, y]), placed.seconds, placed.track):
        rows = rows[order_rows(x[rows], y[rows], placed.seconds[rows])]
        kept, steps = _clean_track(placed, x, y, rows, reason)
        order.append(kept)
        intervals.append(steps)
    kept = np.concatenate(order)
    chain = np.repeat(np.arange(len(order)), [len(rows) for rows in order])
    gone = np.flatnonzero(reason != "")
    return Cleaned(
        frame, replace(placed.take(kept), track=chain), np.column_stack([x[kept], y[kept]]), np.concatenate(intervals),
        _append(fixes.take(is_placeless), placed.take(gone)),
        np.concatenate([np.full(int(is_placeless.sum()), NO_POSITION, dtype=object), reason[gone]]),
    )  # fmt: skip


def _clean_track(
    fixes: Fixes, x: Floats, y: Floats, rows: NDArray[np.int64], reason: NDArray[np.object_]
) -> tuple[NDArray[np.int64], Floats]:
    """Note the reasons of one flight's fixes; return the rows that stay and the seconds from one to the next."""
    is_repeated, is_frozen = find_repeats(x[rows], y[rows], fixes.seconds[rows])
    reason[rows[is_repeated]], reason[rows[is_frozen]] = REPEATED, FROZEN
    rows = rows[~is_repeated & ~is_frozen]
    steps = intervals_seconds(fixes.seconds[rows])
    is_spike = np.zeros(len(rows), np.bool_)
    if is_logged(x[rows], y[rows], fixes.seconds[rows]):
        # While the log paused the aircraft may have gone anywhere.
        is_spike = find_spikes(x[rows], y[rows], intervals_seconds(fixes.seconds[rows], longest_seconds=np.inf))
    reason[rows[is_spike]] = SPIKE
    clock = np.r_[0.0, np.cumsum(steps)][: len(rows)][~is_spike]
    rows = rows[~is_spike]
    return rows, np.diff(clock, prepend=clock[:1])


def is_logged(x: Floats, y: Floats, seconds: Floats) -> bool:
    """Tell whether a path was logged at a rate, so that a long step is a jump; a drawn line has steps of any length.

    Steps are even in a line that a program set places on, too; but no receiver goes straight on to the centimetre.
    """
    if len(x) < 5:
        return False
    if np.isfinite(seconds).all():
        return True
    step, bend = np.hypot(np.diff(x), np.diff(y)), np.hypot(np.diff(x, 2), np.diff(y, 2))
    low, high = np.quantile(step, [0.2, 0.9])
    is_even, is_noisy = high < 4.0 * max(low, 0.1), np.quantile(bend, 0.25) > _LEAST_NOISE_M
    return bool(len(step) > 50 and is_even and is_noisy)


def _middle_frame(fixes: Fixes) -> LocalFrame:
    """Return a frame about the median fix, which a few wild ones do not move, on a whole hundredth of a degree.

    So one fix more or less leaves the frame where it was, and what lies beside it to the last digit.
    """
    longitude, latitude = np.radians(fixes.longitude), np.radians(fixes.latitude)
    x, y, z = np.cos(latitude) * np.cos(longitude), np.cos(latitude) * np.sin(longitude), np.sin(latitude)
    middle_x, middle_y, middle_z = float(np.median(x)), float(np.median(y)), float(np.median(z))
    return LocalFrame(
        round(math.degrees(math.atan2(middle_y, middle_x)), 2),
        round(math.degrees(math.atan2(middle_z, math.hypot(middle_x, middle_y))), 2),
    )


def _append(first: Fixes, second: Fixes) -> Fixes:
    joined = {f.name: np.concatenate([getattr(first, f.name), getattr(second, f.name)]) for f in fields(first)}
    return replace(first, **joined)
