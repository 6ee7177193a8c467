from __future__ import annotations

import io
from datetime import UTC, datetime
from decimal import Decimal
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from exchange.formats import text_columns as tc
from exchange.formats.xml.characters import restore_text

ANY_TEXT = st.text(alphabet=st.characters(exclude_categories=()))


def objects(values: list[Any]) -> np.ndarray:
    column = np.empty(len(values), dtype=object)
    column[:] = values
    return column


@settings(deadline=None)
@given(st.lists(st.floats(allow_nan=False, allow_infinity=False)))
def test_numbers_are_exact_and_have_no_exponent(numbers: list[float]) -> None:
    """Every finite number reads back the same from plain decimal digits."""
    texts = tc.format_numbers(np.array(numbers, dtype=np.float64)).to_pylist()
    assert [float(text) for text in texts] == numbers
    assert not any("e" in text.lower() for text in texts)


@settings(deadline=None)
@given(st.lists(st.floats(allow_nan=False, allow_infinity=False)))
def test_numbers_with_point_are_seen_to_be_no_integers(numbers: list[float]) -> None:
    """With the point asked for, each number holds exactly one."""
    texts = tc.format_numbers(np.array(numbers, dtype=np.float64), with_point=True).to_pylist()
    assert [float(text) for text in texts] == numbers
    assert all(text.count(".") == 1 for text in texts)


@pytest.mark.parametrize(
    ("number", "text"),
    [
        (1e-07, "0.0000001"),
        (1e22, "1" + "0" * 22),
        (-117.25, "-117.25"),
        (100.0, "100"),
        (0.1 + 0.2, "0.30000000000000004"),
    ],
)
def test_numbers_that_formatters_get_wrong(number: float, text: str) -> None:
    """The numbers that fast formatters write with an exponent, or too short, come out plain and whole."""
    assert tc.format_numbers(np.array([number])).to_pylist() == [text]
    assert Decimal(text) == Decimal(repr(number))


def test_missing_values_are_null() -> None:
    """NaN, NaT, the empty text and None have no cell."""
    assert tc.format_numbers(np.array([np.nan])).to_pylist() == [None]
    assert tc.format_times(np.array(["NaT"], dtype="M8[ms]")).to_pylist() == [None]
    assert tc.format_column(objects(["", None, "007"])).to_pylist() == [None, None, "007"]


@settings(deadline=None)
@given(st.lists(st.datetimes(timezones=st.just(UTC), min_value=datetime(1, 1, 1), max_value=datetime(9999, 12, 31))))
def test_times_read_back_to_the_millisecond(times: list[datetime]) -> None:
    """Every instant of the years 1 to 9999 is written with Z and reads back to its millisecond."""
    values = np.array([np.datetime64(t.replace(tzinfo=None), "ms") for t in times], dtype="M8[ms]")
    texts = tc.format_times(values).to_pylist()
    assert all(len(text) == 20 or (len(text) == 24 and not text.endswith(".000Z")) for text in texts)
    back = [np.datetime64(datetime.fromisoformat(t).replace(tzinfo=None), "ms") for t in texts]
    assert back == values.tolist() or back == list(values)


def test_every_kind_of_column_has_its_text() -> None:
    """Whole numbers, truth values, instants and nested values are written by their kind."""
    assert tc.format_column(np.array([1, -(2**63)])).to_pylist() == ["1", str(-(2**63))]
    assert tc.format_column(np.array([True, False])).to_pylist() == ["true", "false"]
    assert tc.format_column(objects([1, True, {"a": [1]}, datetime(2026, 8, 14, tzinfo=UTC)])).to_pylist() == [
        "1",
        "true",
        '{"a":[1]}',
        "2026-08-14T00:00:00Z",
    ]


@settings(deadline=None)
@given(st.lists(ANY_TEXT))
def test_cleaned_cells_come_back(texts: list[str]) -> None:
    """Any text, control characters and lone surrogates included, is restored from its cleaned cell."""
    cells = tc.clean_cells(objects(texts)).to_pylist()
    assert [restore_text(cell) if cell is not None else "" for cell in cells] == texts


@settings(deadline=None)
@given(st.lists(ANY_TEXT), st.booleans())
def test_escaped_cells_are_what_an_xml_parser_reads(texts: list[str], in_attribute: bool) -> None:
    """A parser reads from escaped cells the very texts that went in."""
    from lxml import etree

    cells = tc.clean_cells(objects(texts))
    escaped = tc.escape_xml(cells, in_attribute=in_attribute)
    before, after = ('<c v="', '"/>') if in_attribute else ("<c>", "</c>")
    stream = io.BytesIO()
    tc.write_rows(stream, tc.join_rows([tc.wrap_cells(before, escaped, after)]))
    root = etree.fromstring(b"<r>" + stream.getvalue() + b"</r>")
    read = [child.get("v") if in_attribute else child.text for child in root]
    assert read == [cell for cell in cells.to_pylist() if cell is not None]


def test_a_missing_cell_leaves_its_element_out() -> None:
    """Joined rows hold no empty element for a missing value."""
    cells = tc.wrap_cells("<ele>", tc.format_numbers(np.array([0.0, np.nan])), "</ele>")
    assert tc.join_rows(["<p>", cells, "</p>"]).to_pylist() == ["<p><ele>0</ele></p>", "<p></p>"]


def test_a_row_of_nothing_stays_a_row() -> None:
    """Joining one column alone keeps a row for each missing cell."""
    assert tc.join_rows([tc.format_numbers(np.array([1.0, np.nan]))]).to_pylist() == ["1", ""]


def test_slices_of_an_array_are_written_alone() -> None:
    """Writing a part of a column writes no byte of its neighbours."""
    stream = io.BytesIO()
    rows = tc.format_text(objects(["one", "two", "three"]))
    tc.write_rows(stream, [rows.slice(1, 1), rows.slice(0, 1)])
    assert stream.getvalue() == b"twoone"


def test_batches_cover_all_rows_once() -> None:
    """The slices lie end to end and the last is short."""
    assert list(tc.slices(5, 2)) == [slice(0, 2), slice(2, 4), slice(4, 5)]
