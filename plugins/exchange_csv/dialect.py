"""Find how a table of text is written: its separator, its decimal mark, where its header is."""

from __future__ import annotations

import csv
import io
import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from exchange.errors import AmbiguityError, MalformedError, OptionError
from exchange.formats.columns.header import read_header
from exchange.formats.columns.targets import POSITION_TARGETS
from exchange.formats.options import ReadOptions
from exchange.formats.properties import KIND

SEPARATORS: Mapping[str, str] = {"comma": ",", "semicolon": ";", "tab": "\t", "pipe": "|"}
_NUMBER = re.compile(r"\s*[+-]?[0-9]+(?:[.,][0-9]+)?(?:[eE][+-]?[0-9]+)?\s*")
_POINT_NUMBER = re.compile(r"\s*[+-]?[0-9]*\.[0-9]+\s*")
_COMMA_NUMBER = re.compile(r"\s*[+-]?[0-9]*,([0-9]+)\s*")
_SAMPLE_RECORDS = 200
_MOST_LINES_BEFORE = 20


@dataclass(frozen=True)
class Dialect:
    """How a table is written.

    Attributes
    ----------
    separator
        One character.
    decimal_mark
        ``.`` or ``,``.
    names
        Of the columns, each its own.
    data_start
        Where the first data record begins, in bytes of UTF-8.
    header
        The header's cells as they stand; empty where there is none.
    notes
        What was found out and should be told, as (message, remedy).
    """

    separator: str
    decimal_mark: str
    names: tuple[str, ...]
    data_start: int
    header: tuple[str, ...] = ()
    notes: tuple[tuple[str, str], ...] = field(default=())


def read_separator(text: str) -> str:
    """Return the separator that an option states: a character, or ``comma``, ``semicolon``, ``tab``, ``pipe``.

    Raises
    ------
    OptionError
        When it is none.
    """
    separator = SEPARATORS.get(text, text.replace("\\t", "\t"))
    if len(separator) != 1 or separator in '"\r\n' or separator.isalnum():
        raise OptionError(
            f"{text!r} is no separator", field="--separator", remedy=f"Give one of: {', '.join(SEPARATORS)}."
        )
    return separator


def find_dialect(head: str, options: ReadOptions, *, separator: str = "", path: str = "") -> Dialect:
    """Return how a table is written, from the text it begins with.

    Parameters
    ----------
    head
        The first part of the file, cut after a whole line.
    options
        What is stated.
    separator
        What the format's own definition says; empty is to be found out.
    path
        For messages.

    Raises
    ------
    AmbiguityError
        When the table has no header and the mapping names no columns.
    MalformedError
        When it holds no record at all.
    OptionError
        When an option is not usable.
    """
    hint, offset = _read_separator_line(head)
    stated = read_separator(options.separator) if options.separator else separator or hint or _read_own_separator(head)
    chosen = stated or _choose_separator(head[offset:])
    records = split_records(head[offset:], chosen)
    if not records:
        raise MalformedError("the table holds no record", path=path, remedy="Ask its sender for it again.")
    row, names, notes = _find_header(records, options, path)
    data_start = len(head[: offset + (records[row].end if row >= 0 else 0)].encode())
    sample = [record.cells for record in records[row + 1 :]]
    mark, told = _find_decimal_mark(names, sample, options)
    found = [] if stated or chosen == "," else [_tell_separator(chosen)]
    unique, doubled = _make_unique(names)
    header = records[row].cells if row >= 0 else ()
    return Dialect(chosen, mark, unique, data_start, header, (*found, *notes, *told, *doubled))


@dataclass(frozen=True)
class Record:
    """One record of the head: its cells, and where it ends in characters."""

    cells: tuple[str, ...]
    end: int


def split_records(head: str, separator: str) -> list[Record]:
    """Return the first records of a text, blank lines left out."""
    records: list[Record] = []
    lines = _Lines(head)
    try:
        for cells in csv.reader(lines, delimiter=separator):
            if any(cell.strip() for cell in cells):
                records.append(Record(tuple(cells), lines.position))
            if len(records) >= _SAMPLE_RECORDS:
                break
    except csv.Error:
        return records
    return records


class _Lines:
    """The lines of a text, with the number of characters handed out so far."""

    def __init__(self, text: str) -> None:
        self._lines = io.StringIO(text, newline="")
        self.position = 0

    def __iter__(self) -> _Lines:
        return self

    def __next__(self) -> str:
        line = next(self._lines)
        self.position += len(line)
        return line


def _read_separator_line(head: str) -> tuple[str, int]:
    """Read a first line such as ``sep=;``, with which some spreadsheets state the separator."""
    match = re.match(r'"?sep=(.)"?\r?\n', head, re.IGNORECASE)
    return (match[1], match.end()) if match else ("", 0)


def _read_own_separator(head: str) -> str:
    """Return what follows the first heading of a table of the house."""
    match = re.match(f'"?{KIND}"?([,;|\t])', head)
    return match[1] if match else ""


def _choose_separator(head: str) -> str:
    """Return the separator that gives most known headers, then the most even records, then the most cells."""
    weighed = {name: _weigh(split_records(head, separator)) for name, separator in SEPARATORS.items()}
    return SEPARATORS[max(weighed, key=lambda name: weighed[name])]


def _weigh(records: Sequence[Record]) -> tuple[int, float, int]:
    widths = Counter(len(record.cells) for record in records)
    if not widths:
        return (0, 0.0, 0)
    width, times = widths.most_common(1)[0]
    known = max((_count_known(record.cells) for record in records[:_MOST_LINES_BEFORE]), default=0)
    return (known if width > 1 else min(known, 1), times / len(records) if width > 1 else 0.0, width)


def _count_known(cells: Sequence[str]) -> int:
    return sum(read_header(cell.strip()) is not None for cell in cells)


def _find_header(
    records: Sequence[Record], options: ReadOptions, path: str
) -> tuple[int, tuple[str, ...], list[tuple[str, str]]]:
    """Return the header's record (-1 for none), the names, and what is to be told."""
    stated = options.columns.names if options.columns else ()
    if stated:
        has_own = [cell.strip() for cell in records[0].cells] == list(stated)
        return (0 if has_own else -1), stated, []
    for row, record in enumerate(records[:_MOST_LINES_BEFORE]):
        if _is_header(record.cells, options, row):
            names = tuple(cell.strip() for cell in record.cells)
            return row, names, [_tell_lines_before(records[:row])] if row else []
    raise AmbiguityError(
        "the table has no header that says what its columns are",
        path=path,
        remedy='Name them in a mapping file, --columns FILE: names = ["id", "latitude", "longitude"].',
    )


def _is_header(cells: Sequence[str], options: ReadOptions, row: int) -> bool:
    """Tell whether a record is the header; one with unknown words only counts where nothing comes before it."""
    named = set(options.columns.columns) if options.columns else set()
    named |= {options.longitude_column, options.latitude_column, options.position_column} - {""}
    known = _count_known(cells) + sum(cell.strip() in named for cell in cells)
    numbers = sum(_NUMBER.fullmatch(cell) is not None for cell in cells)
    if row == 0 and KIND in cells:
        return True
    if cells[0].lstrip().startswith("#") and known < 2:
        return False
    return known >= 2 or (known == 1 and not numbers and (row == 0 or len(cells) == 1))


def _tell_lines_before(records: Sequence[Record]) -> tuple[str, str]:
    first = " ".join(cell for cell in records[0].cells if cell)[:60]
    return f"{len(records)} lines before the header are not part of the table; the first is {first!r}", ""


def _tell_separator(separator: str) -> tuple[str, str]:
    word = next(name for name, mark in SEPARATORS.items() if mark == separator)
    return f"the separator is found to be the {word}", "If that is wrong, state it with --separator."


def _find_decimal_mark(
    names: Sequence[str], sample: Sequence[Sequence[str]], options: ReadOptions
) -> tuple[str, list[tuple[str, str]]]:
    if options.decimal_mark:
        if options.decimal_mark not in (".", ","):
            raise OptionError(f"{options.decimal_mark!r} is no decimal mark", field="--decimal", remedy="Give . or ,")
        return options.decimal_mark, []
    if not _has_decimal_comma(names, sample):
        return ".", []
    return ",", [("the decimal mark is found to be the comma", "If that is wrong, state it with --decimal .")]


def _has_decimal_comma(names: Sequence[str], sample: Sequence[Sequence[str]]) -> bool:
    """Tell by the positions, or by commas that cannot part thousands, where no cell has a decimal point."""
    headers = [read_header(name) for name in names]
    is_position = [header is not None and header.target in POSITION_TARGETS for header in headers]
    proofs = 0
    for cells in sample:
        for column, cell in enumerate(cells[: len(names)]):
            if _POINT_NUMBER.fullmatch(cell):
                return False
            match = _COMMA_NUMBER.fullmatch(cell)
            proofs += match is not None and (is_position[column] or len(match[1]) != 3)
    return proofs > 0


def _make_unique(names: Sequence[str]) -> tuple[tuple[str, ...], list[tuple[str, str]]]:
    """Give every column a name of its own: those that share one are numbered, so that no plain word picks one."""
    filled = [name or f"column {number}" for number, name in enumerate(names, 1)]
    times, seen, unique = Counter(filled), Counter[str](), []
    for name in filled:
        seen[name] += 1
        unique.append(f"{name} #{seen[name]}" if times[name] > 1 else name)
    doubled = [name for name, count in times.items() if count > 1]
    told = [
        (f"several columns are named {name!r}; they are kept as {name + ' #1'!r} and so on", "Give each its own name.")
        for name in doubled
    ]
    return tuple(unique), told
