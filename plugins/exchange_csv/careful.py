"""The careful way to read a table: record by record. It is the definition of what a table holds."""

from __future__ import annotations

import csv
import io
from collections.abc import Collection, Iterator, Sequence
from typing import Any

import numpy as np

from exchange.errors import MalformedError
from exchange.model import Problem
from exchange_csv.cells import to_cells
from exchange_csv.table import Block, TextTable

_LONGEST_CELL = 1 << 30


def read_carefully(table: TextTable, needed: Collection[str]) -> Iterator[Block]:
    """Read a table record by record; what is not even is mended where that is safe, else left out, and told.

    Parameters
    ----------
    table
        With or without uneven records.
    needed
        Columns that a record must have cells for, though later ones may be missing.

    Raises
    ------
    MalformedError
        When a quote is left open, or text follows a closing quote.
    """
    csv.field_size_limit(_LONGEST_CELL)
    fitter = RecordFitter(table, needed)
    rows: list[Sequence[str]] = []
    records: list[int] = []
    problems: list[Problem] = []
    with io.TextIOWrapper(table.open_data(), encoding="utf-8", newline="") as text:
        lines = _WatchedLines(text)
        for record, cells in _read_records(lines, table):
            fitted = fitter.fit(cells, record, problems, is_cut=lines.is_cut)
            if fitted is not None:
                rows.append(fitted)
                records.append(record)
            if len(rows) >= table.batch_rows:
                yield make_block(table, rows, records, problems)
                rows, records, problems = [], [], []
    if rows or problems:
        yield make_block(table, rows, records, problems)


def make_block(
    table: TextTable, rows: Sequence[Sequence[str]], records: Sequence[int], problems: Sequence[Problem]
) -> Block:
    """Return records that have as many cells as the table has columns as a block."""
    names = table.dialect.names
    cells: Any = zip(*rows, strict=True) if rows else [()] * len(names)
    columns = {name: to_cells(column) for name, column in zip(names, cells, strict=True)}
    return Block(columns, np.array(records, dtype=np.int64), tuple(problems))


def _read_records(lines: _WatchedLines, table: TextTable) -> Iterator[tuple[int, list[str]]]:
    reader = csv.reader(lines, delimiter=table.dialect.separator, strict=True)
    record = 0
    while True:
        try:
            cells = next(reader)
        except StopIteration:
            return
        except csv.Error as error:
            raise MalformedError(
                f"the quotes of this record do not match ({error}), near line {reader.line_num} of the table",
                path=table.file.name,
                record=record + 1,
                remedy="A quote inside a cell is written twice, and the cell stands in quotes; mend the file.",
            ) from error
        if not is_blank(cells):
            record += 1
            yield record, cells


class RecordFitter:
    """Give each record as many cells as the table has columns, where that is safe."""

    def __init__(self, table: TextTable, needed: Collection[str]) -> None:
        names = table.dialect.names
        self.path, self.separator, self.width = table.file.name, table.dialect.separator, len(names)
        self.least = max((names.index(name) + 1 for name in needed), default=1)

    def fit(self, cells: list[str], record: int, problems: list[Problem], *, is_cut: bool) -> Sequence[str] | None:
        """Return a record's cells, one a column, or ``None`` where it cannot be taken; tell what was mended or left.

        Parameters
        ----------
        cells
            As they stand.
        record
            Number of the record, counted from 1.
        problems
            Where to tell it.
        is_cut
            Whether the record's line has no end.
        """
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
            value=self.separator.join(cells),
        )


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


def is_blank(cells: Sequence[str]) -> bool:
    """Tell whether a line holds nothing; it is no record."""
    return not cells or (len(cells) == 1 and not cells[0].strip())
