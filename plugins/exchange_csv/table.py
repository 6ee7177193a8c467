"""The records of a table of text as columns of text, block by block.

Regular tables (every record has all its cells, quotes only around whole cells) are read by Arrow. All others
go through the careful way, record by record, which is the definition of what is read.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from typing import IO, Any

import numpy as np
from numpy.typing import NDArray

from exchange.errors import MalformedError
from exchange.formats.format import InputFile
from exchange.model import Problem
from exchange_csv.cells import to_cells
from exchange_csv.dialect import Dialect
from exchange_csv.encoding import Encoding, open_text

_SCAN_BYTES = 1 << 22
_HEAD_BYTES = 1 << 18
_QUOTE = ord('"')
_LONGEST_CELL = 1 << 30
CACHED_BYTES = 1 << 26
"""Up to this size a table is kept once it is read as text, since it is gone through twice."""


@dataclass(frozen=True)
class Block:
    """Some records of a table.

    Attributes
    ----------
    columns
        Arrow columns of text by name, each of shape (n,); a missing cell is the empty text.
    records
        Number of each record, counted from 1.
    problems
        Of records that were mended or left out.
    """

    columns: dict[str, Any]
    records: NDArray[np.int64]
    problems: tuple[Problem, ...] = ()

    def __len__(self) -> int:
        """Return the number of records."""
        return len(self.records)


@dataclass(frozen=True)
class TextTable:
    """A table of text whose encoding and dialect are known."""

    file: InputFile
    encoding: Encoding
    dialect: Dialect
    batch_rows: int = 65_536

    def is_small(self) -> bool:
        """Tell whether the table may be kept in memory as text."""
        return self.file.path.stat().st_size <= CACHED_BYTES

    def is_open_ended(self) -> bool:
        """Tell whether the last line of the file has no end."""
        size = self.file.path.stat().st_size
        with self.file.open() as stream:
            stream.seek(max(size - 4, 0))
            return not stream.read().strip(b"\0").endswith((b"\n", b"\r"))

    def is_regular(self) -> bool:
        """Tell whether quotes stand only around whole cells, looking at every byte of the table."""
        with self.open_data() as stream:
            return has_regular_quotes(stream, self.dialect.separator)

    def open_data(self) -> IO[bytes]:
        """Open the table after its header, as UTF-8."""
        stream = open_text(self.file, self.encoding)
        stream.seek(stream.tell() + self.dialect.data_start)
        return stream

    def read_regular(self) -> Iterator[Block]:
        """Read a regular table by Arrow.

        Raises
        ------
        pyarrow.ArrowInvalid
            When the table is not regular.
        """
        start = 1
        for batch in self._read_arrow():
            for offset in range(0, batch.num_rows, self.batch_rows):
                part = batch.slice(offset, self.batch_rows)
                records = np.arange(start, start + part.num_rows, dtype=np.int64)
                start += part.num_rows
                yield Block(dict(zip(self.dialect.names, part.columns, strict=True)), records)

    def _read_arrow(self) -> Iterator[Any]:
        import pyarrow as pa
        from pyarrow import csv as arrow_csv

        names = [str(number) for number in range(len(self.dialect.names))]
        settings = {
            "read_options": arrow_csv.ReadOptions(column_names=names, block_size=_SCAN_BYTES),
            "parse_options": arrow_csv.ParseOptions(delimiter=self.dialect.separator, newlines_in_values=True),
            "convert_options": arrow_csv.ConvertOptions(column_types=dict.fromkeys(names, pa.string())),
        }
        with self.open_data() as stream:
            if not _has_more(stream):
                return
            if self.is_small():
                yield from arrow_csv.read_csv(stream, **settings).combine_chunks().to_batches()
            else:
                yield from arrow_csv.open_csv(stream, **settings)

    def read_carefully(self, needed: Collection[str]) -> Iterator[Block]:
        """Read a table record by record; what is not even is mended where that is safe, else left out, and told.

        Parameters
        ----------
        needed
            Columns that a record must have cells for, though later ones may be missing.

        Raises
        ------
        MalformedError
            When a quote is left open, or text follows a closing quote.
        """
        least = max((self.dialect.names.index(name) + 1 for name in needed), default=1)
        reader = _CarefulReader(self.dialect, self.file.name, least)
        with self.open_data() as stream:
            yield from reader.read(stream, self.batch_rows)


class _CarefulReader:
    def __init__(self, dialect: Dialect, path: str, least: int) -> None:
        self.dialect, self.path, self.least = dialect, path, least
        self.width = len(dialect.names)

    def read(self, stream: IO[bytes], batch_rows: int) -> Iterator[Block]:
        csv.field_size_limit(_LONGEST_CELL)
        with io.TextIOWrapper(stream, encoding="utf-8", newline="") as lines:
            yield from self._read_lines(_WatchedLines(lines), batch_rows)

    def _read_lines(self, watched: _WatchedLines, batch_rows: int) -> Iterator[Block]:
        rows: list[Sequence[str]] = []
        records: list[int] = []
        problems: list[Problem] = []
        for record, cells in enumerate(
            self._records(csv.reader(watched, delimiter=self.dialect.separator, strict=True)), 1
        ):
            fitted = self._fit(cells, record, problems, is_cut=watched.is_cut)
            if fitted is not None:
                rows.append(fitted)
                records.append(record)
            if len(rows) >= batch_rows:
                yield self._block(rows, records, problems)
                rows, records, problems = [], [], []
        if rows or problems:
            yield self._block(rows, records, problems)

    def _records(self, reader: Any) -> Iterator[list[str]]:
        record = 0
        while True:
            try:
                cells = next(reader)
            except StopIteration:
                return
            except csv.Error as error:
                raise MalformedError(
                    f"the quotes of this record do not match ({error}), near line {reader.line_num} of the table",
                    path=self.path,
                    record=record + 1,
                    remedy="A quote inside a cell is written twice, and the cell stands in quotes; mend the file.",
                ) from error
            if not _is_blank(cells):
                record += 1
                yield cells

    def _fit(self, cells: list[str], record: int, problems: list[Problem], *, is_cut: bool) -> Sequence[str] | None:
        """Return a record's cells, one a column, or ``None`` where it cannot be taken."""
        if len(cells) == self.width:
            return cells
        if len(cells) > self.width and not any(cell.strip() for cell in cells[self.width :]):
            return cells[: self.width]
        if self.least <= len(cells) < self.width and not is_cut:
            message = "the record has fewer cells than the table has columns; the last ones are taken as empty"
            problems.append(self._tell(message, "changed", cells, record))
            return cells + [""] * (self.width - len(cells))
        what = (
            "ends in the middle of a record"
            if is_cut and len(cells) < self.width
            else _describe_width(cells, self.width)
        )
        problems.append(self._tell(f"the record {what}; it is left out", "skipped", cells, record))
        return None

    def _tell(self, message: str, severity: Any, cells: list[str], record: int) -> Problem:
        return Problem(
            message=message,
            severity=severity,
            remedy="Compare it with the sender's, and mend the record in the file.",
            path=self.path,
            record=record,
            value=self.dialect.separator.join(cells),
        )

    def _block(self, rows: list[Sequence[str]], records: list[int], problems: list[Problem]) -> Block:
        cells: Any = zip(*rows, strict=True) if rows else [()] * self.width
        columns = {name: to_cells(column) for name, column in zip(self.dialect.names, cells, strict=True)}
        return Block(columns, np.array(records, dtype=np.int64), tuple(problems))


class _WatchedLines:
    """The lines of a text; ``is_cut`` tells whether the last one handed out has no end."""

    def __init__(self, lines: Iterator[str]) -> None:
        self._lines = iter(lines)
        self.is_cut = False

    def __iter__(self) -> _WatchedLines:
        return self

    def __next__(self) -> str:
        line = next(self._lines)
        self.is_cut = not line.endswith(("\n", "\r"))
        return line


def _describe_width(cells: Sequence[str], width: int) -> str:
    return f"has {'more' if len(cells) > width else 'fewer'} cells than the table has columns"


def _is_blank(cells: Sequence[str]) -> bool:
    return not cells or (len(cells) == 1 and not cells[0].strip())


def _has_more(stream: IO[bytes]) -> bool:
    """Tell whether anything but line breaks follows; the stream stays where it was."""
    place = stream.tell()
    while block := stream.read(4096):
        if block.strip(b"\r\n"):
            stream.seek(place)
            return True
    return False


def read_head(file: InputFile, encoding: Encoding) -> str:
    """Return the first part of a table as text, cut after a whole line where the file goes on."""
    with open_text(file, encoding) as stream:
        data = stream.read(_HEAD_BYTES)
        goes_on = bool(stream.read(1))
    text = data.decode("utf-8", errors="ignore")
    cut = max(text.rfind("\n"), text.rfind("\r")) + 1
    return text[:cut] if goes_on and cut else text


def has_regular_quotes(stream: IO[bytes], separator: str) -> bool:
    """Tell whether every quote of a table opens or closes a whole cell, or stands doubled inside one.

    Quotes are counted from the start: an even one opens and must follow a separator or a line's end, an odd one
    closes and must come before one; where a closing quote and the next opening one touch, they are a doubled quote.
    """
    edges = np.zeros(256, dtype=bool)
    edges[[ord("\r"), ord("\n"), *separator.encode()]] = True
    quotes, tail = 0, b"\n"
    while True:
        block = stream.read(_SCAN_BYTES)
        # The last byte is held back until it is known what follows it.
        data = np.frombuffer(tail + (block or b"\n"), np.uint8)
        places = np.flatnonzero(data[1:-1] == _QUOTE) + 1
        if not _are_regular(data, places, quotes, edges):
            return False
        quotes += len(places)
        if not block:
            return quotes % 2 == 0
        tail = data[-2:].tobytes()


def _are_regular(data: NDArray[np.uint8], places: NDArray[np.int64], quotes: int, edges: NDArray[np.bool_]) -> bool:
    opening = (np.arange(quotes, quotes + len(places)) % 2) == 0
    opens, closes = places[opening], places[~opening]
    previous, following = data[opens - 1], data[closes + 1]
    return bool((edges[previous] | (previous == _QUOTE)).all() and (edges[following] | (following == _QUOTE)).all())
