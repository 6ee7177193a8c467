from __future__ import annotations

import csv
import io
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from exchange.formats.format import InputFile
from exchange_csv.blocks import Blocks, is_regular
from exchange_csv.careful import read_carefully
from exchange_csv.dialect import Dialect
from exchange_csv.encoding import Encoding
from exchange_csv.quotes import has_regular_quotes
from exchange_csv.table import Block, TextTable

NAMES = ("a", "b", "c")
# Pieces that make separators, quotes and line breaks meet in every way.
PIECES = st.sampled_from([",", '"', '""', "\n", "\r\n", "\r", "x", "é", " ", "7", "\0", "a,b,c\n", '"q",1,2\n', "=1"])
INSIDE = st.sampled_from([",", '""', "\n", "\r\n", "\r", "x", "é", " ", "\0", "=1"])
QUOTED = st.lists(INSIDE, max_size=4).map(lambda pieces: '"' + "".join(pieces) + '"')
EVEN_RECORDS = st.lists(st.one_of(QUOTED, st.sampled_from(["", "x", " ", "é7"])), min_size=3, max_size=3).map(",".join)
LINE_ENDS = st.sampled_from(["\n", "\r\n", "\r", "\n\n"])
EVEN_TABLES = st.lists(st.tuples(EVEN_RECORDS, LINE_ENDS).map("".join), max_size=6).map("".join)
UNEVEN_RECORDS = st.lists(st.one_of(QUOTED, st.sampled_from(["", "x", " "])), max_size=5).map(",".join)
UNEVEN_TABLES = st.lists(st.tuples(UNEVEN_RECORDS, LINE_ENDS | st.just("")).map("".join), max_size=8).map("".join)
CELLS = st.text(st.characters(exclude_categories=["Cs"]), max_size=8)


def table_of(data: bytes, folder: str, *, batch_rows: int = 65_536) -> TextTable:
    path = Path(folder) / "t.csv"
    path.write_bytes(data)
    return TextTable(InputFile(path, "t.csv"), Encoding("utf-8"), Dialect(",", ".", NAMES, 0), batch_rows)


def rows(blocks: Any) -> list[tuple[Any, ...]]:
    found: list[tuple[Any, ...]] = []
    for block in blocks:
        assert isinstance(block, Block)
        columns = [block.columns[name].to_pylist() for name in NAMES]
        found += list(zip(block.records.tolist(), *columns, strict=True))
    return found


@pytest.mark.parametrize("cached_bytes", [0, 1 << 20], ids=["large", "small"])
@settings(max_examples=300, deadline=None, suppress_health_check=[HealthCheck.filter_too_much])
@given(
    text=st.one_of(EVEN_TABLES, UNEVEN_TABLES, st.lists(PIECES, max_size=24).map("".join)),
    needed=st.sampled_from([(), ("b",), NAMES]),
    batch_rows=st.integers(1, 4),
)
def test_a_table_that_is_proven_regular_reads_alike_both_ways(
    text: str, needed: tuple[str, ...], batch_rows: int, cached_bytes: int
) -> None:
    """Whatever the quick way takes, mends or leaves out, the careful way does too, cell by cell and word by word."""
    with TemporaryDirectory() as folder, pytest.MonkeyPatch.context() as patch:
        patch.setattr("exchange_csv.table.CACHED_BYTES", cached_bytes)
        table = table_of(text.encode(), folder, batch_rows=batch_rows)
        assume(is_regular(table))
        quick, careful = list(Blocks(table, needed).each()), list(read_carefully(table, needed))
        assert rows(quick) == rows(careful)
        assert [p for block in quick for p in block.problems] == [p for block in careful for p in block.problems]


def test_what_arrow_gives_up_on_is_read_to_its_end(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A cell larger than Arrow's block does not end the reading, and no record comes twice."""
    monkeypatch.setattr("exchange_csv.table.CACHED_BYTES", 0)
    monkeypatch.setattr("exchange_csv.regular._BLOCK_BYTES", 1000)
    lines = [f"{number},x,y" for number in range(1000)] + ["1000,x", f"1001,{'z' * 5000},y", "1002,x,y"]
    table = table_of("\n".join(lines).encode(), str(tmp_path), batch_rows=100)
    found = rows(Blocks(table, ("a",)).each())
    assert [int(row[1]) for row in found] == list(range(1003))
    assert [row[0] for row in found] == list(range(1, 1004))


@settings(max_examples=150, deadline=None)
@given(st.lists(st.tuples(CELLS, CELLS, CELLS), max_size=8), st.sampled_from(["\n", "\r\n"]), st.integers(1, 3))
def test_what_the_standard_library_writes_is_read_back(records: list[Any], line_end: str, batch_rows: int) -> None:
    """The ``csv`` module is the outside reference: its records come back, in order, whatever the batches."""
    records = [record for record in records if any(cell.strip() for cell in record)]
    target = io.StringIO(newline="")
    # The module leaves a lone CR without quotes where lines end in LF; so all cells are quoted there.
    quoting = csv.QUOTE_ALL if line_end == "\n" else csv.QUOTE_MINIMAL
    csv.writer(target, lineterminator=line_end, quoting=quoting).writerows(records)
    with TemporaryDirectory() as folder:
        table = table_of(target.getvalue().encode(), folder, batch_rows=batch_rows)
        blocks = Blocks(table, NAMES)
        assert [row[1:] for row in rows(blocks.each())] == [tuple(record) for record in records]
        assert rows(blocks.each()) == rows(blocks.each())


@pytest.mark.parametrize(
    ("data", "is_regular"),
    [(b'a,"b",c\n', True), (b'"a""b",c\n"d",e', True), (b'"",""\n', True), (b'"a\r\nb",c', True), (b"", True),
     (b'5" pipe,b\n', False), (b'"5" pipe",b\n', False), (b'a, "b"\n', False), (b'"left open,b\n', False),
     (b'""a"",b\n', False), (b'"a" ,b\n', False)],
)  # fmt: skip
def test_regular_quotes_are_proven_byte_by_byte(data: bytes, is_regular: bool) -> None:
    """A quote that neither opens nor closes a whole cell sends the table the careful way."""
    assert has_regular_quotes(io.BytesIO(data), ",") is is_regular


@given(st.binary(max_size=40).map(lambda data: data.replace(b"\0", b'"')), st.integers(1, 5))
def test_the_proof_does_not_depend_on_where_a_block_ends(data: bytes, size: int) -> None:
    """Reading a few bytes at a time gives the same answer."""

    class Slow(io.BytesIO):
        def read(self, count: int | None = -1) -> bytes:
            return super().read(size)

    assert has_regular_quotes(Slow(data), ",") is has_regular_quotes(io.BytesIO(data), ",")
