"""The manifest beside the handed-out files, as ``manifest.csv``: written whole, read back strictly.

UTF-8 after RFC 4180, one line a row, columns named as in ``Manifest``; coordinates shortest and exact, times as
RFC 3339 with ``Z``. What a spreadsheet would run is escaped (``exchange.formats.formulas``), and so are characters
that no text file should have (``exchange.formats.xml.characters``).
"""

from __future__ import annotations

import csv
import os
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from exchange.errors import MalformedError, NotThisFormatError, ReadError
from exchange.formats.formulas import escape_formula, unescape_formula
from exchange.formats.text_columns import format_column
from exchange.formats.time_text import parse_times
from exchange.formats.writing import write_whole
from exchange.formats.xml.characters import clean_text, restore_text
from exchange.model import Sources
from exchange.model.columns import to_text_column
from exchange.model.manifest import Manifest

MANIFEST_NAME = "manifest.csv"
COLUMNS = Manifest.column_names()
_ANOTHER = "Give the manifest.csv that the hand-out wrote, as it was written."


def write_manifest(manifest: Manifest, target: str | os.PathLike[str], *, overwrite: bool = False) -> None:
    """Write a manifest to a file, whole or not at all.

    Raises
    ------
    WriteError
        When the file exists and ``overwrite`` is not set, or cannot be written.
    """
    columns = [_write_column(getattr(manifest, name)) for name in COLUMNS]

    def write(path: Path) -> None:
        with path.open("x", encoding="utf-8", newline="") as stream:
            rows = csv.writer(stream, lineterminator="\r\n")
            rows.writerow(COLUMNS)
            rows.writerows(zip(*columns, strict=True))

    write_whole(Path(target), write, overwrite=overwrite)


def read_manifest(path: str | os.PathLike[str]) -> Manifest:
    """Read a manifest that ``write_manifest`` wrote; a spreadsheet may have saved it since.

    Raises
    ------
    ReadError
        When the file cannot be opened or is no UTF-8 text.
    NotThisFormatError
        When its first line does not name the columns of a manifest.
    MalformedError
        When a row has another number of cells, a cell is no value of its column, a number or short name is
        missing, or a profile gives one short name or one number twice.
    """
    name = os.fspath(path)
    try:
        with Path(path).open(encoding="utf-8-sig", newline="") as stream:
            header, *rows = list(csv.reader(stream, strict=True)) or [[]]
    except OSError as error:
        raise ReadError(f"cannot be opened: {error.strerror or error}", path=name, remedy=_ANOTHER) from error
    except (UnicodeDecodeError, csv.Error) as error:
        raise MalformedError(f"is no text table in UTF-8: {error}", path=name, remedy=_ANOTHER) from error
    if tuple(header) != COLUMNS:
        raise NotThisFormatError(
            f"is no manifest: the first line is {','.join(header)[:80]!r}, not {','.join(COLUMNS)!r}",
            path=name,
            remedy=_ANOTHER,
        )
    manifest = _build(rows, name)
    check_manifest(manifest)
    return manifest


def check_manifest(manifest: Manifest) -> None:
    """Refuse a manifest in which a short name does not lead to one spot.

    Raises
    ------
    MalformedError
        When a number or short name is missing, or a profile gives one short name or one number twice.
    """
    for field in ("short_name", "number"):
        seen: set[tuple[str, str]] = set()
        for row, key in enumerate(zip(manifest.profile, getattr(manifest, field), strict=True)):
            if not key[1] or key in seen:
                fault = f"{key[1]!r} comes twice in the profile {key[0]!r}" if key[1] else "is missing"
                place = manifest.source[row]
                raise MalformedError(
                    fault, path=place.file or None, record=place.record or None, field=field, remedy=_ANOTHER
                )
            seen.add(key)


def _write_column(column: Any) -> list[str]:
    if column.dtype.kind == "O":
        texts = column.tolist()
        joined = "".join(texts)
        # What can be printed needs no cleaning, unless it spells what cleaning would write.
        is_clean = joined.isprintable() and "\\u" not in joined
        return [escape_formula(text) for text in (texts if is_clean else map(clean_text, texts))]
    return [text or "" for text in format_column(column).to_pylist()]


def _build(rows: Sequence[Sequence[str]], name: str) -> Manifest:
    for record, row in enumerate(rows, 1):
        if len(row) != len(COLUMNS):
            fault = f"the row has {len(row)} cells where the first line names {len(COLUMNS)}"
            raise MalformedError(fault, path=name, record=record, remedy=_ANOTHER)
    cells = dict(zip(COLUMNS, zip(*rows, strict=True), strict=True)) if rows else dict.fromkeys(COLUMNS, ())
    read = {column: _read_column(column, texts, name) for column, texts in cells.items()}
    return Manifest(**read, source=Sources.of(name, "", np.arange(1, len(rows) + 1)))


def _read_column(column: str, texts: Sequence[str], name: str) -> Any:
    if column in ("longitude", "latitude"):
        return _read_degrees(column, texts, name)
    if column == "handed_out":
        return _read_times(texts, name)
    return to_text_column([restore_text(unescape_formula(text)) for text in texts], len(texts))


def _read_degrees(column: str, texts: Iterable[str], name: str) -> list[float]:
    limit = 180.0 if column == "longitude" else 90.0
    degrees = []
    for record, text in enumerate(texts, 1):
        try:
            value = float(text) if text else np.nan
        except ValueError as error:
            raise _wrong_cell(f"{text!r} is no number", name, record, column) from error
        if text and not abs(value) <= limit:
            raise _wrong_cell(f"{text!r} is no {column}", name, record, column)
        degrees.append(value)
    return degrees


def _read_times(texts: Sequence[str], name: str) -> Any:
    parsed = parse_times(texts)
    wrong = sorted([*parsed.without_zone.tolist(), *parsed.unreadable.tolist()])
    if wrong:
        raise _wrong_cell(f"{texts[wrong[0]]!r} is no time with its zone", name, wrong[0] + 1, "handed_out")
    return parsed.time


def _wrong_cell(message: str, name: str, record: int, field: str) -> MalformedError:
    return MalformedError(message, path=name, record=record, field=field, remedy=_ANOTHER)
