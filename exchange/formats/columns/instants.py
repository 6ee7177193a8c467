"""Foreign times become instants: with the zone they carry or that is stated, or they stay text and are told."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from exchange.formats.columns.measures import read_numbers
from exchange.formats.columns.targets import EPOCH_STEPS, Target
from exchange.formats.time_text import parse_times, parse_zone
from exchange.model.columns import TIME_TYPE, ForeignColumn, TimeColumn, is_text, to_text_column, to_time_column

_CLOCK = re.compile(r"\s*([0-9]{1,2}):([0-9]{2})(?::([0-9]{2}(?:[.,][0-9]+)?))?\s*([AaPp])?\.?(?(4)[Mm]\.?)\s*(.*?)\s*")
_LATEST_SECONDS = 1e11  # The year 5138: a larger count of seconds is one of milliseconds.
_LATEST_MS = 253_402_300_799_999.0  # The end of the year 9999.


@dataclass(frozen=True)
class ReadTimes:
    """Instants, and the rows that gave none.

    Attributes
    ----------
    values
        datetime64[ms] UTC, shape (n,); NaT where missing or not taken.
    unreadable, without_zone
        Masks of the rows whose text is no time, or carries no zone while none is stated.
    in_zone
        Mask of the rows whose text carries no zone and is read in the stated one.
    texts
        What stood there, for the rows of the two masks; numbers as they came.
    """

    values: TimeColumn
    unreadable: NDArray[np.bool_]
    without_zone: NDArray[np.bool_]
    in_zone: NDArray[np.bool_]
    texts: ForeignColumn


def read_times(
    column: ForeignColumn, *, timezone: str = "", time_format: str = "", dates: ForeignColumn | None = None
) -> ReadTimes:
    """Read a foreign column as instants.

    Parameters
    ----------
    column
        Instants, or text of shape (n,); typed numbers are unreadable, since their unit and start are not stated.
    timezone
        Of texts that carry none.
    time_format
        ``strptime`` codes, where the texts are not ISO 8601.
    dates
        The day of each row, for those whose text is a time of day.

    Raises
    ------
    OptionError
        When ``timezone`` is no zone.
    """
    nothing = np.zeros(len(column), dtype=bool)
    if column.dtype.kind == "M":
        return ReadTimes(column.astype(TIME_TYPE), nothing, nothing, nothing, column)
    if column.dtype.kind != "O":
        return ReadTimes(to_time_column(None, len(column)), ~nothing, nothing, nothing, column)
    column = column if is_text(column) else to_text_column([_to_text(value) for value in column.tolist()], len(column))
    texts = column.tolist()
    if dates is not None:
        texts = [_join(day, clock) for day, clock in zip(_day_texts(dates), texts, strict=True)]
        column = to_text_column(texts, len(texts))
    asked = [_to_iso(text, time_format) for text in texts] if time_format else texts
    parsed = parse_times(asked, zone=parse_zone(timezone) if timezone else None)
    unreadable, without_zone, in_zone = nothing.copy(), nothing.copy(), nothing.copy()
    unreadable[parsed.unreadable], without_zone[parsed.without_zone], in_zone[parsed.in_zone] = True, True, True
    return ReadTimes(parsed.time, unreadable, without_zone, in_zone, column)


def read_epoch(column: ForeignColumn, *, unit: str) -> ReadTimes:
    """Read a count of seconds or milliseconds since 1970-01-01T00:00Z.

    A count of seconds beyond the year 5138 is not taken: it is one of milliseconds whose header does not say so.
    """
    nothing = np.zeros(len(column), dtype=bool)
    if column.dtype.kind == "M":
        return ReadTimes(column.astype(TIME_TYPE), nothing, nothing, nothing, column)
    read = read_numbers(column, Target("number"))
    step = EPOCH_STEPS[unit.strip().lower()]
    with np.errstate(invalid="ignore"):
        too_late = np.abs(read.values) > (_LATEST_SECONDS if step == 1000.0 else _LATEST_MS)
    taken = ~np.isnan(read.values) & ~too_late
    values = np.full(len(column), "NaT", dtype=TIME_TYPE)
    values[taken] = np.rint(read.values[taken] * step).astype(np.int64).astype(TIME_TYPE)
    return ReadTimes(values, read.unreadable | too_late, nothing, nothing, column)


def _to_text(value: Any) -> str:
    if isinstance(value, str):
        return value
    if isinstance(value, datetime):
        return value.isoformat()
    return "" if value is None or value != value else repr(value)


def _day_texts(dates: ForeignColumn) -> list[str]:
    if dates.dtype.kind == "M":
        return [str(day) for day in dates.astype("datetime64[D]")]
    return [_to_text(value).strip() for value in dates.tolist()]


def _join(day: str, clock: str) -> str:
    match = _CLOCK.fullmatch(clock)
    if not match or not day:
        return clock
    hour, minute, second, half, zone = match.groups()
    if half:
        hour = str(int(hour) % 12 + (12 if half in "Pp" else 0)) if 1 <= int(hour) <= 12 else "99"
    return f"{day} {int(hour):02d}:{minute}:{second or '00'}{zone}"


@lru_cache(maxsize=65_536)
def _to_iso(text: str, time_format: str) -> str:
    try:
        return datetime.strptime(text.strip(), time_format).isoformat() if text.strip() else ""
    except ValueError:
        return text
