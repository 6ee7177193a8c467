from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from exchange.formats.columns.measures import read_numbers
from exchange.formats.columns.targets import TARGETS, Target


def texts(*values: object) -> np.ndarray:
    return np.fromiter(values, dtype=object, count=len(values))


# Fixed points: NIST SP 811, Appendix B (Fahrenheit, foot, acre), BIPM SI brochure 2.3.1 (kelvin).
CONVERTED = [
    ("temperature", "F", "212", 100.0),
    ("temperature", "F", "-40", -40.0),
    ("temperature", "K", "273.15", 0.0),
    ("altitude", "ft", "1000", 304.8),
    ("area", "ac", "1", 4046.8564224),
    ("area", "ha", "0.5", 5000.0),
    ("confidence", "percent", "85", 0.85),
    ("confidence", "fraction", "0.85", 0.85),
    ("heading", "", "359.5", 359.5),
    ("sightings", "", "3", 3.0),
]


@pytest.mark.parametrize(("column", "unit", "text", "expected"), CONVERTED)
def test_text_and_numbers_become_the_models_unit(column: str, unit: str, text: str, expected: float) -> None:
    """A column of text and one of numbers convert alike."""
    for values in (texts(text), np.array([float(text)])):
        assert read_numbers(values, TARGETS[column], unit=unit).values.tolist() == [expected]


def test_a_number_without_a_unit_is_not_taken() -> None:
    """Temperature, length, area and share need a unit; the rows that lack it are told apart from the unreadable."""
    read = read_numbers(texts("300", "", "n/a"), TARGETS["temperature"])
    assert np.isnan(read.values).all()
    assert read.without_unit.tolist() == [True, False, False]
    assert read.unreadable.tolist() == [False, False, True]


def test_a_cell_may_carry_its_own_unit() -> None:
    """A unit in the cell counts for that row, also against the column's."""
    read = read_numbers(texts("212 F", "100°C", "212", "5 ft"), TARGETS["temperature"], unit="F")
    assert read.values.tolist()[:3] == [100.0, 100.0, 100.0]
    assert read.unreadable.tolist() == [False, False, False, True]


@pytest.mark.parametrize(
    ("column", "unit", "value"),
    [("temperature", "C", "-300"), ("area", "m2", "-1"), ("accuracy", "m", "-0.5"), ("confidence", "percent", "101"),
     ("sightings", "", "-1"), ("temperature", "C", "1e999")],
)  # fmt: skip
def test_what_cannot_be_is_not_taken(column: str, unit: str, value: str) -> None:
    """A temperature below absolute zero, a negative area, a share beyond one are no values."""
    read = read_numbers(texts(value), TARGETS[column], unit=unit)
    assert np.isnan(read.values[0])
    assert read.unreadable[0]


@pytest.mark.parametrize("text", ["1_000", "1,5", "1 000", "inf", "-inf", "0x10", "١٢", "1.2.3", "--1", "1e", "NULL"])
def test_what_is_no_plain_number_is_refused(text: str) -> None:
    """Python's and others' looser spellings of numbers are not guessed at."""
    read = read_numbers(texts(text), TARGETS["sightings"])
    assert np.isnan(read.values[0])
    assert read.unreadable[0]


def test_a_decimal_comma_is_read_only_when_stated() -> None:
    """With the comma stated, the point is no decimal mark any more."""
    read = read_numbers(texts("40,5", "40.5", "7"), TARGETS["temperature"], unit="C", decimal_mark=",")
    assert read.values.tolist()[0::2] == [40.5, 7.0]
    assert read.unreadable.tolist() == [False, True, False]


@given(st.lists(st.one_of(st.none(), st.floats(-1e6, 1e6), st.integers(-(10**6), 10**6)), min_size=1, max_size=8))
def test_text_reads_as_the_number_it_writes(values: list[float | int | None]) -> None:
    """The quick way for plain columns and the careful way for mixed ones give the same numbers."""
    count = Target("number")
    expected = [math.nan if value is None else float(value) for value in values]
    quick = read_numbers(texts(*["" if value is None else repr(value) for value in values]), count)
    mixed = read_numbers(texts(*[value if index % 2 else None if value is None else repr(value)
                                 for index, value in enumerate(values)]), count)  # fmt: skip
    np.testing.assert_array_equal(quick.values, expected)
    np.testing.assert_array_equal(mixed.values, expected)
