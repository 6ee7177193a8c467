from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
import pytest

from exchange.errors import OptionError
from exchange.formats.columns.instants import read_epoch, read_times


def texts(*values: object) -> np.ndarray:
    return np.fromiter(values, dtype=object, count=len(values))


def moment(text: str) -> np.datetime64:
    return np.datetime64(text, "ms")


def test_naive_and_offset_times_are_never_mixed() -> None:
    """A time without a zone stays missing beside one with; a stated zone reads it."""
    column = texts("2026-08-14T19:03:05Z", "2026-08-14 19:03:05", "2026-08-14T12:03:05-07:00", "noon", "")
    read = read_times(column)
    assert read.values[[0, 2]].tolist() == [moment("2026-08-14T19:03:05").item()] * 2
    assert read.without_zone.tolist() == [False, True, False, False, False]
    assert read.unreadable.tolist() == [False, False, False, True, False]
    stated = read_times(column, timezone="America/Boise")
    assert stated.values[1] == moment("2026-08-15T01:03:05")


def test_only_texts_without_a_zone_are_read_in_the_stated_one() -> None:
    """Rows that carry a zone of their own, an offset or Z, are not counted as read in the stated zone."""
    texts = ["2026-08-14T09:00:00", "2026-08-14T15:00:00Z", "2026-08-14 09:00-06:00", "", "noon", "2026-08-14 09:00"]
    read = read_times(np.array(texts, dtype=object), timezone="America/Boise")
    assert read.in_zone.tolist() == [True, False, False, False, False, True]
    assert len({str(value) for value in read.values[[0, 1, 2, 5]]}) == 1
    assert not read_times(np.array(texts, dtype=object)).in_zone.any()


def test_a_day_and_a_time_of_day_are_joined() -> None:
    """The column of days completes those texts that are a time of day, with or without a zone."""
    days = texts("2026-08-14", "2026-08-14", "2026-08-14", "2026-08-14")
    clocks = texts("19:03:05", "7:03 PM", "12:00 am", "2026-08-15T00:00:00Z")
    read = read_times(clocks, timezone="UTC", dates=days)
    expected = ["2026-08-14T19:03:05", "2026-08-14T19:03", "2026-08-14T00:00", "2026-08-15T00:00"]
    assert read.values.tolist() == [moment(text).item() for text in expected]
    assert read_times(texts("13:00 PM"), timezone="UTC", dates=days[:1]).unreadable[0]


def test_a_stated_form_reads_what_is_not_iso() -> None:
    """Day before month is read only because the form says so."""
    column = texts("14.08.2026 19:03", "08/14/2026")
    read = read_times(column, timezone="UTC", time_format="%d.%m.%Y %H:%M")
    assert read.values[0] == moment("2026-08-14T19:03")
    assert read.unreadable.tolist() == [False, True]
    assert read_times(column, timezone="UTC").unreadable.all()


def test_typed_instants_pass_and_typed_numbers_do_not() -> None:
    """A number is no time by itself; an instant of any precision is."""
    assert read_times(np.array(["2026-08-14T19:03:05"], "M8[us]")).values[0] == moment("2026-08-14T19:03:05")
    assert read_times(np.array([1_786_734_185])).unreadable[0]
    aware = texts(datetime(2026, 8, 14, 19, 3, 5, tzinfo=UTC), None)
    assert read_times(aware).values[0] == moment("2026-08-14T19:03:05")


# Unix time of 2026-08-14T19:03:05Z by Python's calendar.timegm.
EPOCH = 1_786_734_185


@pytest.mark.parametrize(
    ("unit", "value"), [("", EPOCH), ("s", EPOCH), ("ms", EPOCH * 1000), ("seconds", float(EPOCH))]
)
def test_a_count_since_1970_is_read_in_its_unit(unit: str, value: float) -> None:
    """Seconds unless milliseconds are stated, as numbers or as text."""
    for column in (np.array([value]), texts(repr(value))):
        assert read_epoch(column, unit=unit).values[0] == moment("2026-08-14T19:03:05")


def test_milliseconds_taken_for_seconds_are_refused() -> None:
    """A count of seconds that would lie beyond the year 5138 is one of milliseconds, and is not taken."""
    read = read_epoch(np.array([EPOCH * 1000, EPOCH]), unit="s")
    assert np.isnat(read.values[0])
    assert read.unreadable.tolist() == [True, False]


def test_an_unknown_zone_is_refused() -> None:
    """A zone that is none is told with the option that states it."""
    with pytest.raises(OptionError, match=r"--assume-tz.*'Mars' is no time zone"):
        read_times(texts("2026-08-14"), timezone="Mars")
