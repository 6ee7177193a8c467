from __future__ import annotations

import re
from datetime import UTC, datetime
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from exchange.errors import MalformedError, OptionError
from exchange.formats.properties import (
    build_perimeter,
    build_table,
    flatten_perimeter,
    flatten_table,
    flatten_track_fields,
    split_track_fields,
)
from exchange.formats.time_text import parse_time, parse_times, parse_zone
from exchange.formats.values import from_text, to_text, value_type
from exchange.model import Detections, Perimeter, Places, Sources, StatusNotes, Track
from exchange.testing.strategies import foreign_values, perimeters, tables, tracks

_few = settings(deadline=None, max_examples=60)
NAIVE = datetime(2026, 8, 14, 19, 3, 5)  # noqa: DTZ001, RUF100

# RFC 3339, section 5.8, gives these and says which instants they are.
RFC_3339 = {
    "1985-04-12T23:20:50.52Z": "1985-04-12T23:20:50.520",
    "1996-12-19T16:39:57-08:00": "1996-12-20T00:39:57.000",
    "1990-12-31T23:59:60Z": "1990-12-31T23:59:59.999",
    "1990-12-31T15:59:60-08:00": "1990-12-31T23:59:59.999",
    "1937-01-01T12:00:27.87+00:20": "1937-01-01T11:40:27.870",
}

SPELLINGS = {
    "20260814T190305Z": "2026-08-14T19:03:05",
    "2026-08-14 19:03:05 UTC": "2026-08-14T19:03:05",
    "2026-08-14t19:03:05z": "2026-08-14T19:03:05",
    "2026-08-14T19:03Z": "2026-08-14T19:03:00",
    "2026-08-14T12:03:05-07": "2026-08-14T19:03:05",
    "2026-08-14T12:03:05-0700": "2026-08-14T19:03:05",
    "2026-08-14T19:03:05,25Z": "2026-08-14T19:03:05.250",
    "2026-08-14T19:03:05.1234567Z": "2026-08-14T19:03:05.123",
    "2026-08-13T24:00:00Z": "2026-08-14T00:00:00",
    "  2026-08-14T19:03:05Z  ": "2026-08-14T19:03:05",
    "2024-02-29T00:00:00Z": "2024-02-29T00:00:00",
}

NO_TIMES = (
    "yesterday", "14/08/2026", "2026-13-01T00:00:00Z", "2026-02-30T00:00:00Z", "2026-08-14T25:00:00Z",
    "2026-08-14T24:00:01Z", "2026-08-14T19:60:00Z", "2026-08-14T19:03:61Z", "2026-08-14T19:03:05+99:00",
    "2026-08-14T19:03:05+07:60", "2026-08-14T19:03:05ZZ", "2026-08", "1755198185", "0000-01-01T00:00:00Z",
    "2026-08-14T19:03:05.Z",
)  # fmt: skip


@pytest.mark.parametrize(("text", "instant"), (RFC_3339 | SPELLINGS).items())
def test_times_that_are_read(text: str, instant: str) -> None:
    """The standard's own examples and the common spellings give their instants, alone and among others."""
    expected = np.datetime64(instant, "ms")
    assert parse_times([text]).time[0] == expected
    assert parse_times([text, "", "2026-08-14T19:03:05Z"]).time[0] == expected


@pytest.mark.parametrize("text", NO_TIMES)
def test_texts_that_are_no_times(text: str) -> None:
    """What is no time is listed as unreadable, never bent into one, also among times of one shape."""
    for column in ([text], ["2026-08-14T19:03:05Z", text]):
        parsed = parse_times(column)
        assert parsed.unreadable.tolist() == [len(column) - 1]
        assert np.isnat(parsed.time[-1])


def test_times_without_a_zone_wait_for_one() -> None:
    """A naive time beside one with an offset is listed, not mixed; with a stated zone it is read."""
    texts = ["2026-08-14T19:03:05", "2026-08-14T19:03:05-07:00", "", "2026-08-14"]
    parsed = parse_times(texts)
    assert parsed.without_zone.tolist() == [0, 3]
    assert np.isnat(parsed.time).tolist() == [True, False, True, True]
    stated = parse_times(texts, zone=parse_zone("America/Boise"))
    assert stated.time[0] == np.datetime64("2026-08-15T01:03:05", "ms")  # 6 h behind UTC in summer (tz database)
    assert stated.time[1] == np.datetime64("2026-08-15T02:03:05", "ms")
    assert len(stated.without_zone) == len(stated.unreadable) == 0
    assert parse_time("2026-08-14 19:03:05") == NAIVE


@pytest.mark.parametrize("text", ["Marrow/Flat", "+99:00", "-07:60", "7", "../UTC", "America", " "])
def test_zones_that_are_none(text: str) -> None:
    """A word that is no zone is refused with examples of what is."""
    with pytest.raises(OptionError, match=re.escape(f"{text!r} is no time zone")):
        parse_zone(text)


@_few
@given(st.lists(st.datetimes(datetime(1, 1, 1), datetime(9999, 12, 31)), min_size=1, max_size=5))  # noqa: DTZ001, RUF100
def test_what_is_written_as_time_is_read(moments: list[datetime]) -> None:
    """Any instant of the calendar is written and read to the millisecond, in bulk and one by one."""
    aware = [m.replace(microsecond=m.microsecond // 1000 * 1000, tzinfo=UTC) for m in moments]
    texts = [to_text(moment) for moment in aware]
    expected = [np.datetime64(moment.replace(tzinfo=None), "ms") for moment in aware]
    assert parse_times(texts).time.tolist() == np.array(expected).tolist()
    assert [parse_time(text) for text in texts] == aware


@_few
@given(foreign_values())
def test_a_value_survives_as_text(value: Any) -> None:
    """Text and type name together give back the value with its own type."""
    if value is None or value == "":
        assert to_text(value) == ""
        return
    returned = from_text(to_text(value), value_type(value))
    assert returned == value
    assert type(returned) is type(value)


@_few
@given(st.floats(allow_nan=False))
def test_a_number_survives_exactly(value: float) -> None:
    """Every finite number, and infinity, comes back to the last bit."""
    assert from_text(to_text(value), "double") == value


@pytest.mark.parametrize(
    ("text", "kind"), [("maybe", "bool"), ("7.5", "int"), ("seven", "double"), ("{", "json"), ("noon", "dateTime")]
)
def test_a_text_that_is_no_value_of_its_type(text: str, kind: str) -> None:
    """A wrong text is an error, never another value."""
    with pytest.raises(ValueError, match=r"."):
        from_text(text, kind)


@_few
@given(st.one_of(tables(Detections), tables(StatusNotes), tables(Places)))
def test_a_table_survives_as_properties(table: Any) -> None:
    """Columns by property name build the same table, whatever the foreign fields are called."""
    flat = flatten_table(table)
    built = build_table(type(table), flat, longitude=table.longitude, latitude=table.latitude)
    assert built.differences(table) == []


@_few
@given(tables(Detections))
def test_a_table_survives_as_property_texts(table: Detections) -> None:
    """The model's own columns come back from text, missing cells from the empty one."""
    flat = flatten_table(table.replace(extra={}), without=())
    texts = {name: [to_text(row.as_dict().get(name)) for row in table] for name in flat}
    assert build_table(Detections, texts).differences(table.replace(extra={})) == []


@_few
@given(tracks())
def test_the_fields_of_a_track_survive(track: Track) -> None:
    """Name, sortie, aircraft, height reference and foreign properties come back, clashing names included."""
    fields = split_track_fields(flatten_track_fields(track))
    assert track.replace(name="", sortie="", aircraft="", height_reference="", properties={}).replace(**fields) == track


@_few
@given(perimeters())
def test_the_fields_of_a_perimeter_survive(perimeter: Perimeter) -> None:
    """All of a perimeter but its geometry comes back from plain properties."""
    built = build_perimeter(flatten_perimeter(perimeter), geometry=perimeter.geometry)
    assert built.differences(perimeter) == []


@pytest.mark.parametrize(
    ("name", "text", "match"), [("temperature", "warm", "'warm' is no number"), ("time", "noon", "'noon' is no time")]
)
def test_a_property_that_cannot_be_read_names_its_record(name: str, text: str, match: str) -> None:
    """In the house's own file a broken value is an error with file, layer, record and field."""
    source = Sources.of("a.csv", "hot", [4, 5])
    good = {"temperature": "1", "time": "2026-08-14T19:03:05Z"}[name]
    with pytest.raises(MalformedError, match=rf"a\.csv, layer hot, record 5, field {name}: {match}"):
        build_table(Detections, {name: [good, text]}, source=source)
