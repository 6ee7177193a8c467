"""All fixes of all tracks as one set of columns, with what is needed to trace them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from typing import Any, Self

import numpy as np
from numpy.typing import NDArray

from exchange.model import Track

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]
Flags = NDArray[np.bool_]

_KNOWN_SHARE = 0.5


@dataclass(frozen=True, kw_only=True)
class Fixes:
    """Hold one fix a row.

    Attributes
    ----------
    longitude, latitude
        Degrees.
    altitude, height
        Metres above mean sea level, and above the ground or the take-off.
    camera_heading, camera_pitch
        Degrees, as in `exchange.model.Track`.
    seconds
        Time since the first fix of all; NaN where the log has none, or the same for every fix.
    is_stamped
        Whether the log gives the fix any time: a drawn line has none.
    is_above_ground
        Whether the height is above the ground below, not above the take-off.
    track, row
        Which source track, and which of its rows.
    """

    longitude: Floats
    latitude: Floats
    altitude: Floats
    height: Floats
    camera_heading: Floats
    camera_pitch: Floats
    seconds: Floats
    is_stamped: Flags
    is_above_ground: Flags
    track: Whole
    row: Whole

    def __len__(self) -> int:
        """Return the number of fixes."""
        return len(self.longitude)

    def take(self, rows: NDArray[Any]) -> Self:
        """Return the chosen fixes, given as indices or a mask, in that order."""
        return replace(self, **{column.name: getattr(self, column.name)[rows] for column in fields(self)})


def gather_fixes(tracks: Sequence[Track]) -> Fixes:
    """Return the fixes of all tracks, track by track in the order of their rows."""
    columns = ("longitude", "latitude", "altitude", "height", "camera_heading", "camera_pitch")
    gathered = {name: _join([getattr(track, name) for track in tracks]) for name in columns}
    times = [track.time.astype("datetime64[ms]") for track in tracks]
    known = np.concatenate([time[~np.isnat(time)] for time in times]) if times else np.empty(0, "datetime64[ms]")
    lengths = [len(track) for track in tracks]
    first = known.min() if len(known) else np.datetime64(0, "ms")
    return Fixes(
        **gathered,
        seconds=_join([_fill_seconds((time - first) / np.timedelta64(1, "s")) for time in times]),
        is_stamped=_join([~np.isnat(time) for time in times]).astype(np.bool_),
        is_above_ground=np.repeat([track.height_reference == "ground" for track in tracks], lengths).astype(np.bool_),
        track=np.repeat(np.arange(len(tracks)), lengths),
        row=_join([np.arange(len(track)) for track in tracks]).astype(np.int64),
    )


def find_placeless(longitude: Floats, latitude: Floats) -> Flags:
    """Tell which fixes have no position on the earth: missing, out of range, or the exact 0, 0 of an unset receiver."""
    with np.errstate(invalid="ignore"):
        is_placed = (np.abs(longitude) <= 360.0) & (np.abs(latitude) <= 90.0)
    return np.asarray(~is_placed | ((longitude == 0.0) & (latitude == 0.0)))


def _join(parts: Sequence[NDArray[Any]]) -> Floats:
    return np.concatenate([np.empty(0), *parts]).astype(np.float64)


def _fill_seconds(seconds: Floats) -> Floats:
    """Return times without gaps: missing ones between known neighbours; none where few are known, or all are one."""
    known = np.isfinite(seconds)
    if not len(seconds) or known.mean() < _KNOWN_SHARE or (len(seconds) > 1 and np.ptp(seconds[known]) == 0.0):
        return np.full(len(seconds), np.nan)
    if known.all():
        return seconds
    rows = np.arange(len(seconds))
    return np.interp(rows, rows[known], seconds[known])
