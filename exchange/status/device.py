"""Find what a device may have put on its marks by itself: one symbol, one colour or one time on nearly all of a file.

A device may give every mark that it imports or makes its own default symbol, and every one the time of an import. Read
as a person's word, a green default would call every spot of a file out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from exchange.model import Sources
from exchange.model.status import UNCHECKED
from exchange.status.questions import DEVICE, Questions, shorten
from exchange.status.returned import Returned
from exchange.status.signs import BIT, Bits, Sign, to_words
from exchange.status.text_codes import code_texts

LEAST_MARKS = 5
"""How many marks must carry the same before it may be the device's own; fewer are asked about one by one."""

SHARE = 2 / 3
"""More than this part of them must: a choice on the side of caution, no measured figure."""

ONE_MINUTE = 60_000
"""Milliseconds within which nobody walks to five spots."""

TIME = "time"

_NEW = -1
_REMEDY = "reconcile this file by itself with --signs-meant if it is the crew's"

Rows = NDArray[np.bool_]


@dataclass(frozen=True)
class Device:
    """Hold what nearly all marks of one file carry.

    Attributes
    ----------
    sign
        What it is: ``symbol`` or ``colour``, or ``time``.
    value
        The symbol, the colour or the time, as text.
    says
        Status bits that it would say.
    rows
        The marks that carry it, shape (n,).
    count, of
        How many of how many marks that were looked at together.
    """

    sign: str
    value: str
    says: int
    rows: Rows
    count: int
    of: int


def find_device_signs(
    drawn: Sequence[Sign], rows: Returned, *, handed_out: Bits, is_named: Rows, is_placed: Rows
) -> list[tuple[Sign, Device]]:
    """Return the symbols and colours that nearly all marks of a file carry, and that differ from what was handed out.

    Marks are looked at together if they were handed out with one status; marks that name no spot, which the device
    made itself, are looked at together too. More than two thirds of such marks must carry the same, and five marks of
    the file at least. Who changed some marks and left others of the same status as they were has made a choice.

    Parameters
    ----------
    drawn
        Signs with names ``symbol`` and ``colour``.
    rows
        The marks.
    handed_out
        The status bit that each was handed out with.
    is_named, is_placed
        Which marks name a spot, and which have found one; the others are not counted.
    """
    file = code_texts(rows.source.file)[0]
    group = _pair(file, np.where(is_named, handed_out.astype(np.int64), _NEW) - _NEW)
    silent = ~np.uint8(BIT[UNCHECKED])
    found = []
    for sign in drawn:
        is_new = (sign.says & ~handed_out & silent) != 0
        common = _find_common(
            _pair(file, code_texts(sign.texts)[0]), group, carries=is_placed & is_new, counts=is_placed
        )
        for carriers, of in common:
            first = int(np.flatnonzero(carriers)[0])
            alike = ~is_placed & is_new & (file == file[first]) & (sign.texts == sign.texts[first])
            device = Device(
                sign.name, sign.texts[first], int(sign.says[first]), carriers | alike, int(carriers.sum()), of
            )
            found.append((sign, device))
    return found


def find_device_times(rows: Returned, *, has_time: Rows) -> list[Device]:
    """Return the times that nearly all marks of a file carry, give or take a minute.

    Parameters
    ----------
    rows
        The marks; the rows of a sheet about numbered spots are none, since people fill a sheet's times in together.
    has_time
        Which carry a time that they were not handed out with.
    """
    if rows.holds_numbers_only:
        return []
    file, milliseconds = code_texts(rows.source.file)[0], rows.time.astype(np.int64)
    found = []
    for each in np.unique(file[has_time]).tolist():
        marks = np.flatnonzero(has_time & (file == each))
        marks = marks[np.argsort(milliseconds[marks], kind="stable")]
        end = np.searchsorted(milliseconds[marks], milliseconds[marks] + ONE_MINUTE, side="right")
        start = int(np.argmax(end - np.arange(len(marks))))
        same = marks[start : end[start]]
        if len(same) >= LEAST_MARKS and len(same) > SHARE * len(marks):
            carriers = np.zeros(len(rows), np.bool_)
            carriers[same] = True
            value = f"{np.datetime_as_string(rows.time[same[0]], unit='m')}Z"
            found.append(Device(TIME, value, 0, carriers, len(same), len(marks)))
    return found


def list_devices(devices: Sequence[Device], source: Sources) -> Questions:
    """Return a question for each, at the first mark that carries it; what is told of one file once is not again."""
    told: dict[tuple[str, str, str], tuple[int, Device]] = {}
    for device in devices:
        first = int(np.flatnonzero(device.rows)[0])
        told.setdefault((source.file[first], device.sign, device.value), (first, device))
    words = [_tell(device) for _, device in told.values()]
    return Questions(
        kind=np.full(len(told), DEVICE, dtype=object),
        value=np.fromiter((device.value for _, device in told.values()), dtype=object, count=len(told)),
        words=np.fromiter(words, dtype=object, count=len(told)),
        source=source.take(np.fromiter((first for first, _ in told.values()), np.int64, len(told))),
    )


def _tell(device: Device) -> str:
    share = f"all {device.count:,}" if device.count == device.of else f"{device.count:,} of {device.of:,}"
    carry = f"{share} marks of this file carry the {device.sign} {shorten(device.value)!r}"
    if device.sign == TIME:
        return f"{carry}, give or take a minute, which may be the device's own: it dates no report; {_REMEDY}"
    meaning = " or ".join(map(repr, to_words(device.says)))
    return f"{carry}, which may be the device's own: by itself it is not taken for {meaning}; {_REMEDY}"


def _find_common(
    value: NDArray[np.int64], group: NDArray[np.int64], *, carries: Rows, counts: Rows
) -> list[tuple[Rows, int]]:
    """Return for each value the marks in the groups that nearly all carry it, and how many marks those groups have."""
    if int(carries.sum()) < LEAST_MARKS:
        return []
    sizes = np.bincount(group[counts], minlength=int(group.max()) + 1)
    pair = _pair(group, value)
    _, first, place, number = np.unique(pair[carries], return_index=True, return_inverse=True, return_counts=True)
    pair_group, pair_value = group[carries][first], value[carries][first]
    is_common = number > SHARE * sizes[pair_group]
    found = []
    for each in np.unique(pair_value[is_common]).tolist():
        chosen = is_common & (pair_value == each)
        if number[chosen].sum() >= LEAST_MARKS:
            carriers = np.zeros(len(value), np.bool_)
            carriers[np.flatnonzero(carries)[chosen[place]]] = True
            found.append((carriers, int(sizes[pair_group[chosen]].sum())))
    return found


def _pair(first: NDArray[np.int64], second: NDArray[np.int64]) -> NDArray[np.int64]:
    """Return one number for each pair of numbers from 0 up."""
    return first * (int(second.max(initial=0)) + 1) + second
