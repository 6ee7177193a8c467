from __future__ import annotations

import csv
import json
import subprocess
import sys
from pathlib import Path

import pyarrow as pa
import pytest
from hypothesis import given
from hypothesis import strategies as st

from exchange.formats.arrow_columns import to_texts
from exchange.formats.formulas import escape_formula, unescape_formula
from exchange.formats.options import WriteOptions
from exchange.formats.reading import read
from exchange.formats.writing import write
from exchange.model import Detections, Packet
from exchange.testing import host_with
from exchange.testing.strategies import texts
from exchange_csv.cells import escape_cells, to_cells, unescape_cells
from exchange_csv.format import CsvFormat, TsvFormat
from exchange_csv.kinds import find_kinds, to_foreign
from tests.samples import SAMPLES

HOST = host_with(CsvFormat(), TsvFormat())

# OWASP, CSV injection and ASVS 5.0, 1.2.10; the last two are from memory.
PAYLOADS = ("=1+1", "+1+1", "-1+1", "@SUM(A1)", "\t=1", "\r=1", '=HYPERLINK("http://x","y")', "=cmd|' /C calc'!A0",
            "\0=1", "\n=1", "-2+3+cmd|' /C calc'!A0", "\uff1d1+1")  # fmt: skip
HARMLESS = ("-120.5", "+5", "-7", "-1e-07", "a=1", "'quoted'", "it's", "", "7-1", "'", "-0,5")


@pytest.mark.parametrize("text", PAYLOADS)
def test_a_formula_is_written_harmless_and_read_back(text: str, tmp_path: Path) -> None:
    """No cell that a spreadsheet would run stands in the file, and the text comes back exactly."""
    packet = Packet(detections=Detections(name=[text], extra={text: [text]}, longitude=[-120.5], latitude=[-40.0]))
    write(packet, tmp_path / "a.csv", host=HOST)
    with (tmp_path / "a.csv").open(encoding="utf-8", newline="") as stream:
        cells = [cell for record in csv.reader(stream) for cell in record]
    assert cells.count("'" + text) == 3
    assert "-120.5" in cells
    assert read(tmp_path / "a.csv", host=HOST) == packet


@pytest.mark.parametrize("text", HARMLESS)
def test_plain_numbers_and_ordinary_text_are_not_touched(text: str) -> None:
    """A negative number is no formula."""
    assert escape_formula(text) == text
    assert unescape_formula(text) == text


@given(st.lists(st.one_of(texts(), st.sampled_from(PAYLOADS), texts().map("'".__add__)), max_size=5))
def test_escaping_is_undone_exactly_one_by_one_and_by_column(items: list[str]) -> None:
    """Any text, apostrophes before a formula too, comes back; columns do what single cells do."""
    column = to_cells(items)
    escaped = escape_cells(column)
    assert escaped.to_pylist() == [escape_formula(item) for item in items]
    assert unescape_cells(escaped).to_pylist() == items
    assert to_texts(column).tolist() == items


@pytest.mark.parametrize(
    ("cells", "expected"),
    [
        (["7", "-3", ""], [7, -3, None]),
        (["7.0", "-3.25", "0.1"], [7.0, -3.25, 0.1]),
        (["007", "8"], ["007", "8"]),
        (["7.50", "1.0"], ["7.50", "1.0"]),
        (["7", "7.5"], ["7", "7.5"]),
        (["1e5", "2.0"], ["1e5", "2.0"]),
        (["-0", "1"], ["-0", "1"]),
        (["+1", "2"], ["+1", "2"]),
        (["inf", "1.5"], ["inf", "1.5"]),
        (["nan", "1.5"], ["nan", "1.5"]),
        ([" 7", "8"], [" 7", "8"]),
        (["99999999999999999999", "1"], ["99999999999999999999", "1"]),
        (["true", "false"], ["true", "false"]),
        (["", ""], ["", ""]),
    ],
)
def test_a_column_is_of_numbers_only_when_every_text_is_what_the_number_would_write(
    cells: list[str], expected: list[object]
) -> None:
    """``007`` stays text, and so does every column whose text a number would not give back."""
    column = pa.array(cells, pa.string())
    kind = find_kinds([{"a": column}], ["a"])["a"]
    values = to_foreign(column, kind).tolist()
    assert values == expected
    assert [type(value) for value in values] == [type(value) for value in expected]


def test_the_kind_of_a_column_is_that_of_the_whole_table() -> None:
    """A text far down makes the whole column text, whatever the first blocks hold."""
    blocks = [{"a": pa.array(["7"])}, {"a": pa.array(["x"])}]
    assert find_kinds(blocks, ["a"]) == {"a": "text"}


def test_another_reader_sees_the_same_cells(tmp_path: Path) -> None:
    """GDAL's CSV reader, in a process of its own, finds as many records and the same text as was written."""
    write(SAMPLES["hostile text"], tmp_path / "a.csv", host=HOST)
    code = (
        "import json, sys, pyogrio\n"
        "frame = pyogrio.read_dataframe(sys.argv[1], read_geometry=False)\n"
        "print(json.dumps(frame['id'].tolist()))"
    )
    command = [sys.executable, "-W", "ignore", "-c", code, str(tmp_path / "a.csv")]
    answer = subprocess.run(command, capture_output=True, text=True, check=True)  # noqa: S603  # own code
    assert json.loads(answer.stdout) == SAMPLES["hostile text"].detections.id.tolist()


def test_lines_end_as_the_standard_says(tmp_path: Path) -> None:
    """RFC 4180, section 2: records end in CR LF, every one has as many cells as the header."""
    write(SAMPLES["some of everything"], tmp_path / "a.csv", host=HOST, options=WriteOptions())
    data = (tmp_path / "a.csv").read_bytes()
    assert data.endswith(b"\r\n")
    assert data.count(b"\n") == data.count(b"\r\n")
    with (tmp_path / "a.csv").open(encoding="utf-8", newline="") as stream:
        assert len({len(record) for record in csv.reader(stream)}) == 1
