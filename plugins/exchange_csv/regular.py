"""The quick way to read a table whose quotes are proven regular: by Arrow, uneven records set aside and fitted."""

from __future__ import annotations

import csv
import io
from collections.abc import Collection, Iterator
from dataclasses import dataclass, field
from typing import IO, Any

import numpy as np
from numpy.typing import NDArray

from exchange.model import Problem
from exchange_csv.careful import RecordFitter, is_blank, make_block
from exchange_csv.table import Block, TextTable

_BLOCK_BYTES = 1 << 22


def read_even(table: TextTable) -> Iterator[Block]:
    """Read a table that is small enough to keep and whose records are all even.

    Raises
    ------
    pyarrow.ArrowInvalid
        When a record is not even; nothing has been handed out then.
    """
    start = 1
    for batch in _read_arrow(table):
        records = np.arange(start, start + batch.num_rows, dtype=np.int64)
        start += batch.num_rows
        yield from _cut(Block(dict(zip(table.dialect.names, batch.columns, strict=True)), records), table.batch_rows)


def read_mended(table: TextTable, needed: Collection[str]) -> Iterator[Block]:
    """Read a table of any size, its uneven records fitted one by one as the careful way does.

    Raises
    ------
    pyarrow.ArrowInvalid
        When a record is larger than Arrow can take.
    """
    mending = _Mending(table, RecordFitter(table, needed), is_open_ended=table.is_open_ended())
    held = None
    for batch in _read_arrow(table, mending):
        if held is not None:
            yield from _cut(mending.merge(held, is_last=False), table.batch_rows)
        held = batch
    if held is not None or mending.uneven:
        yield from _cut(mending.merge(held, is_last=True), table.batch_rows)


def _read_arrow(table: TextTable, mending: _Mending | None = None) -> Iterator[Any]:
    import pyarrow as pa
    from pyarrow import csv as arrow

    names = [str(number) for number in range(len(table.dialect.names))]
    # Arrow numbers the uneven records only where it reads in one thread.
    reading = arrow.ReadOptions(column_names=names, block_size=_BLOCK_BYTES, use_threads=mending is None)
    settings = {
        "read_options": reading,
        "parse_options": arrow.ParseOptions(
            delimiter=table.dialect.separator, newlines_in_values=True, invalid_row_handler=mending
        ),
        "convert_options": arrow.ConvertOptions(column_types=dict.fromkeys(names, pa.string())),
    }
    with table.open_data() as stream:
        if not _has_more(stream):
            return
        if table.is_small():
            yield from arrow.read_csv(stream, **settings).combine_chunks().to_batches()
        else:
            yield from arrow.open_csv(stream, **settings)


def _has_more(stream: IO[bytes]) -> bool:
    """Tell whether anything but line breaks follows; the stream stays where it was."""
    place = stream.tell()
    while block := stream.read(4096):
        if block.strip(b"\r\n"):
            stream.seek(place)
            return True
    return False


def _cut(block: Block, batch_rows: int) -> Iterator[Block]:
    """Yield a block in pieces of at most so many rows; the first carries what is to be told."""
    if len(block) <= batch_rows:
        yield block
        return
    for start in range(0, len(block), batch_rows):
        columns = {name: cells.slice(start, batch_rows) for name, cells in block.columns.items()}
        yield Block(columns, block.records[start : start + batch_rows], () if start else block.problems)


@dataclass
class _Mending:
    """The uneven records that Arrow set aside, on their way back to their places."""

    table: TextTable
    fitter: RecordFitter
    is_open_ended: bool
    uneven: list[tuple[int, str]] = field(default_factory=list)
    blanks: list[int] = field(default_factory=list)
    """Lines that Arrow counts as records, but that hold nothing."""

    following: int = 1
    """Arrow's number of the next record."""

    def __call__(self, row: Any) -> str:
        """Set one uneven record aside; Arrow calls this."""
        self.uneven.append((row.number, row.text))
        return "skip"

    def merge(self, batch: Any, *, is_last: bool) -> Block:
        """Return Arrow's even records with the fitted ones among them, in the order of the file."""
        even = self._number_even(0 if batch is None else batch.num_rows)
        end = int(even[-1]) if len(even) else self.following - 1
        here = [(number, text) for number, text in self.uneven if is_last or number <= end]
        self.uneven = self.uneven[len(here) :]
        last = max([end, *(number for number, _ in here)])
        self.following = last + 1
        rows: list[Any] = []
        records: list[int] = []
        problems: list[Problem] = []
        for number, text in here:
            cells = next(csv.reader(io.StringIO(text, newline=""), delimiter=self.fitter.separator, strict=True), [])
            if is_blank(cells):
                self.blanks.append(number)
                continue
            is_cut = is_last and self.is_open_ended and number == last
            record = number - len(self.blanks)
            fitted = self.fitter.fit(cells, record, problems, is_cut=is_cut)
            rows += [] if fitted is None else [fitted]
            records += [] if fitted is None else [record]
        mended = make_block(self.table, rows, records, problems)
        return mended if batch is None else self._join(batch, even, mended)

    def _number_even(self, count: int) -> NDArray[np.int64]:
        """Return Arrow's numbers of the next even records: those that no uneven one has."""
        taken = np.array([number for number, _ in self.uneven], dtype=np.int64)
        numbers = np.arange(self.following, self.following + count + len(taken), dtype=np.int64)
        return numbers[~np.isin(numbers, taken)][:count]

    def _join(self, batch: Any, even: NDArray[np.int64], mended: Block) -> Block:
        records = even - np.searchsorted(np.array(self.blanks, dtype=np.int64), even)
        names = self.table.dialect.names
        if not len(mended):
            return Block(dict(zip(names, batch.columns, strict=True)), records, mended.problems)
        return _interleave(dict(zip(names, batch.columns, strict=True)), records, mended)


def _interleave(columns: dict[str, Any], records: NDArray[np.int64], mended: Block) -> Block:
    import pyarrow as pa

    together = np.concatenate([records, mended.records])
    order = np.argsort(together, kind="stable")
    rows = pa.Array.from_buffers(pa.int64(), len(order), [None, pa.py_buffer(order.astype(np.int64).tobytes())])
    joined = {name: pa.concat_arrays([cells, mended.columns[name]]).take(rows) for name, cells in columns.items()}
    return Block(joined, together[order], mended.problems)
