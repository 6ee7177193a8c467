"""Times as text: read strictly, with a zone or with the zone an option states; never guessed."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, timezone, tzinfo
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from exchange.errors import OptionError
from exchange.model.columns import TimeColumn

_OFFSET = re.compile(r"([+-])([01]\d|2[0-3]):?([0-5]\d)")
_FIRST_INSTANT = np.datetime64("0001-01-01", "ms")
"""The calendar of ``datetime`` begins here; numpy's goes further back."""
_ISO = re.compile(
    r"(\d{4})-?(\d\d)-?(\d\d)"
    r"(?:[Tt ]\s*(\d\d):?(\d\d)(?::?(\d\d)(?:[.,](\d+))?)?)?"
    r"\s*(Z|z|UTC|GMT|[+-]\d\d(?::?\d\d)?)?"
)


@dataclass(frozen=True)
class ParsedTimes:
    """Times read from text.

    Attributes
    ----------
    time
        datetime64[ms] in UTC, shape (n,); NaT where missing, unreadable or without a zone.
    without_zone
        Rows that carry no zone while none was stated: they stay NaT, for the caller to tell and to keep as text.
    unreadable
        Rows that are no time at all.
    in_zone
        Rows that carry no zone and were read in the stated one.
    """

    time: TimeColumn
    without_zone: NDArray[np.int64]
    unreadable: NDArray[np.int64]
    in_zone: NDArray[np.int64]


def parse_zone(text: str) -> tzinfo:
    """Return the zone an option states: an IANA name, ``UTC`` or an offset such as ``-07:00``.

    Raises
    ------
    OptionError
        When it is no zone.
    """
    if text.upper() in ("UTC", "Z", "GMT"):
        return UTC
    offset = _OFFSET.fullmatch(text.strip())
    if offset:
        sign = 1 if offset[1] == "+" else -1
        return timezone(sign * timedelta(hours=int(offset[2]), minutes=int(offset[3])))
    try:
        return ZoneInfo(text.strip())
    except (KeyError, ValueError, OSError) as error:
        raise OptionError(
            f"{text!r} is no time zone",
            field="--assume-tz",
            remedy="Give an IANA name such as America/Boise, UTC, or an offset such as -07:00.",
        ) from error


def parse_times(texts: Sequence[str] | NDArray[Any], *, zone: tzinfo | None = None) -> ParsedTimes:
    """Read ISO 8601 / RFC 3339 times; a blank between date and time and a missing zone are understood too.

    Parameters
    ----------
    texts
        Shape (n,); the empty text is missing.
    zone
        Of times that carry none; ``None`` leaves them missing and lists them.
    """
    items = list(texts)
    time = np.full(len(items), "NaT", dtype="datetime64[ms]")
    without_zone, unreadable, in_zone = [], [], []
    for row in _parse_regular(items, time):
        text = items[row]
        if not text.strip():
            continue
        instant = parse_time(text)
        if instant is None:
            unreadable.append(row)
        elif instant.tzinfo is None and zone is None:
            without_zone.append(row)
        else:
            time[row] = _to_utc(instant, zone)
            if instant.tzinfo is None:
                in_zone.append(row)
    return ParsedTimes(
        time, np.array(without_zone, np.int64), np.array(unreadable, np.int64), np.array(in_zone, np.int64)
    )


def parse_time(text: str) -> datetime | None:
    """Read one ISO 8601 time; without a zone it comes back naive, unreadable text as ``None``.

    Second 60 of a leap second is read as the last millisecond before the next minute, 24:00 as the next midnight.
    """
    match = _ISO.fullmatch(text.strip())
    if not match:
        return None
    year, month, day, hour, minute, second, fraction, zone = match.groups()
    whole = [int(part or 0) for part in (year, month, day, hour, minute, second)]
    microsecond = int((fraction or "0").ljust(6, "0")[:6])
    if whole[5] == 60 and whole[4] == 59:
        whole[5], microsecond = 59, 999_000
    extra = timedelta(0)
    if whole[3] == 24 and not (whole[4] or whole[5] or microsecond):
        whole[3], extra = 0, timedelta(days=1)
    try:
        naive = datetime(whole[0], whole[1], whole[2], whole[3], whole[4], whole[5], microsecond) + extra
        return naive.replace(tzinfo=_read_zone(zone)) if zone else naive
    except (ValueError, OverflowError):
        return None


def _read_zone(text: str) -> tzinfo:
    if text.upper() in ("Z", "UTC", "GMT"):
        return UTC
    hours, minutes = text[1:3], text[3:].lstrip(":") or "00"
    return parse_zone(f"{text[0]}{hours}:{minutes}")


def _to_utc(instant: datetime, zone: tzinfo | None) -> np.datetime64:
    aware = instant if instant.tzinfo else instant.replace(tzinfo=zone)
    elapsed = aware - datetime(1970, 1, 1, tzinfo=UTC)
    return np.datetime64(elapsed // timedelta(milliseconds=1), "ms")


def _parse_regular(items: list[str], time: TimeColumn) -> list[int]:
    """Enter the texts that look like ``2026-08-14T19:03:05Z``, with decimals or without, and return the other rows."""
    lengths = np.fromiter(map(len, items), np.int64, len(items))
    others = []
    for length in np.unique(lengths[lengths > 0]).tolist():
        rows = np.flatnonzero(lengths == length)
        alike = items if len(rows) == len(items) else [items[row] for row in rows.tolist()]
        found = _parse_alike(alike) if 20 <= length <= 24 else None
        if found is None:
            others += rows.tolist()
        else:
            time[rows] = found
    return sorted(others)


def _parse_alike(items: list[str]) -> TimeColumn | None:
    """Return texts of one length as instants, or ``None`` where one of them is not of the regular form."""
    joined = "".join(items)
    if not joined.isascii():
        return None
    table = np.frombuffer(joined.encode("ascii"), dtype=np.uint8).reshape(len(items), -1)
    if not _has_regular_shape(table):
        return None
    time = _read_digits(np.ascontiguousarray(table.T))
    return None if time is None or (time < _FIRST_INSTANT).any() else time


def _read_digits(columns: NDArray[np.uint8]) -> TimeColumn | None:
    """Return instants from their characters, shape (places, n), or ``None`` where one is no date or time of day."""

    def number(start: int, stop: int) -> NDArray[np.int64]:
        value = np.zeros(columns.shape[1], dtype=np.int64)
        for place in range(start, stop):
            value = value * 10 + (columns[place] - ord("0"))
        return value

    year, month, day = number(0, 4), number(5, 7), number(8, 10)
    hour, minute, second = number(11, 13), number(14, 16), number(17, 19)
    decimals = len(columns) - 21
    milliseconds = number(20, 20 + decimals) * 10 ** (3 - decimals) if decimals > 0 else np.zeros_like(second)
    months = ((year - 1970) * 12 + month - 1).astype("datetime64[M]")
    days = months.astype("datetime64[D]") + (day - 1)
    good = (month >= 1) & (month <= 12) & (days.astype("datetime64[M]") == months)
    if not (good & (hour < 24) & (minute < 60) & (second < 60)).all():
        return None
    of_day = ((hour * 60 + minute) * 60 + second) * 1000 + milliseconds
    return days.astype("datetime64[ms]") + of_day


def _has_regular_shape(table: NDArray[np.uint8]) -> bool:
    marks = {4: b"-", 7: b"-", 10: b"T", 13: b":", 16: b":", table.shape[1] - 1: b"Z"}
    if table.shape[1] > 20:
        marks[19] = b"."
    digits = np.ones(table.shape[1], dtype=bool)
    for column, mark in marks.items():
        digits[column] = False
        if not (table[:, column] == mark[0]).all():
            return False
    body = table[:, digits]
    return table.shape[1] != 21 and bool(((body >= 48) & (body <= 57)).all())
