"""What the spots were handed out with, so that what comes back unchanged is not taken for a report."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from exchange.model.columns import NumberColumn, TextColumn, TimeColumn
from exchange.model.detections import Detections
from exchange.model.manifest import Manifest
from exchange.status.signs import BIT, Bits
from exchange.status.spot_names import SpotNames

NEVER = np.datetime64("NaT", "ms")

LEAST_PART = 12
"""Letters that a handed-out comment must have to be taken off a longer one."""

Spots = NDArray[np.int64]


@dataclass(frozen=True)
class Baseline:
    """Hold what each spot of a list was handed out with, each column of shape (spots,).

    Attributes
    ----------
    status
        The status word as a bit: the manifest's, or else the list's; 0 is none.
    comments
        What was written beside it when it was handed out, by row: the list's note, and the comments of the manifests.
    temperature
        Degrees Celsius.
    handed_out
        When it was first handed out by the manifests given, NaT where none names it.
    times
        Every time that a handed-out mark may carry.
    """

    status: Bits
    comments: Mapping[int, set[str]]
    temperature: NumberColumn
    handed_out: TimeColumn
    times: tuple[TimeColumn, ...]

    @classmethod
    def of(cls, spots: Detections, manifest: Manifest | None, names: SpotNames) -> Baseline:
        """Return what the spots of a list were handed out with."""
        status = to_status_bits(spots.status)
        first, last = np.full(len(spots), NEVER), np.full(len(spots), NEVER)
        if manifest is not None and len(manifest):
            entries = np.argsort(manifest.handed_out, kind="stable")
            spot = np.array([names.find(number) for number in manifest.number.tolist()], np.int64)[entries]
            time, given = manifest.handed_out[entries], to_status_bits(manifest.status)[entries]
            is_listed = spot >= 0
            # NaT sorts last; the last hand-out that says a status counts.
            says = is_listed & (given > 0)
            status[spot[says]] = given[says]
            last[spot[is_listed]] = time[is_listed]
            first[spot[is_listed][::-1]] = time[is_listed][::-1]
        times = (spots.time, spots.first_seen, spots.last_seen, first, last)
        return cls(status, _gather_comments(spots, manifest, names), spots.temperature, first, times)

    def status_of(self, spot: Spots) -> Bits:
        """Return the handed-out status of the spot of each row, 0 where the row has none."""
        return _take(self.status, spot, np.uint8(0))

    def take_off(self, spot: Spots, comments: TextColumn) -> TextColumn:
        """Return what each comment says beyond what was handed out with its spot; devices let people write on it."""
        pairs = zip(spot.tolist(), comments.tolist(), strict=True)
        new = [_take_off(text, self.comments[row]) if text and row in self.comments else text for row, text in pairs]
        return np.fromiter(new, dtype=object, count=len(new))

    def temperature_of(self, spot: Spots) -> NumberColumn:
        """Return the list's temperature of the spot of each row."""
        return _take(self.temperature, spot, np.nan)

    def handed_out_to(self, spot: Spots) -> TimeColumn:
        """Return when the spot of each row was handed out."""
        return _take(self.handed_out, spot, NEVER)

    def has_own_time(self, spot: Spots, time: TimeColumn, last_seen: TimeColumn) -> NDArray[np.bool_]:
        """Tell which rows carry a time of their own: none that the mark was handed out with.

        Parameters
        ----------
        spot
            The spot of each row, -1 is none.
        time
            The time that each row carries.
        last_seen
            When the row itself says that the spot was last seen; its time tells of a report only if it is later.
        """
        is_handed_out = np.zeros(len(time), np.bool_)
        for known in self.times:
            is_handed_out |= _take(known, spot, NEVER) == time
        return ~np.isnat(time) & ~is_handed_out & ~(time <= last_seen)


def to_status_bits(status: TextColumn) -> Bits:
    """Return a column of status words as bits; a foreign word is 0."""
    return np.array([BIT.get(word, 0) for word in status.tolist()], np.uint8)


def _gather_comments(spots: Detections, manifest: Manifest | None, names: SpotNames) -> dict[int, set[str]]:
    known = {row: {spots.note[row]} for row in np.flatnonzero(spots.note != "").tolist()}
    if manifest is not None:
        for number, comment in zip(manifest.number.tolist(), manifest.comment.tolist(), strict=True):
            spot = names.find(number)
            if spot >= 0 and comment:
                known.setdefault(spot, set()).add(comment)
    return known


def _take_off(text: str, known: set[str]) -> str:
    if text in known:
        return ""
    if text.strip().casefold() in {comment.strip().casefold() for comment in known}:
        return ""
    # A short one, such as a bare status word, may as well be a person's own.
    for comment in sorted(known, key=len, reverse=True):
        if len(comment) >= LEAST_PART and comment in text:
            text = text.replace(comment, " ")
    return text.strip(" ;,|/-")


def _take(column: NDArray, spot: Spots, missing: object) -> NDArray:  # type: ignore[type-arg]
    if not len(column):
        return np.full(len(spot), missing, dtype=column.dtype)
    return np.where(spot >= 0, column[spot], np.array(missing, dtype=column.dtype))
