"""The spots as a workbook (Office Open XML, ECMA-376) for those who have a spreadsheet only.

Text is written as text, whatever it begins with, so no cell is a formula; numbers and times as what they are.
"""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from exchange.formats.xml.characters import clean_text
from exchange.model import Problem
from exchange.model.columns import has_any_value, to_items

if TYPE_CHECKING:
    from exchange.model import Detections

MOST_ROWS: Final = 1_048_575
"""A sheet of the format has 1,048,576 rows, the heading included (ECMA-376, as spreadsheets implement it)."""

MOST_LETTERS: Final = 32_767
_FIRST_YEAR: Final = 1900
_UNITS: Final = {
    "altitude": "altitude (m)",
    "temperature": "temperature (C)",
    "temperature_last": "last temperature (C)",
    "accuracy": "accuracy (m)",
    "area": "area (m2)",
    "time": "time (UTC)",
    "first_seen": "first seen (UTC)",
    "last_seen": "last seen (UTC)",
    "id": "number",
}


def write_workbook(spots: Detections, target: Path, *, title: str = "") -> list[Problem]:
    """Write spots, in the order they are given, as one sheet; return what had to be cut.

    Parameters
    ----------
    spots
        As ``limit_spots`` gives them for a profile whose layout is columns.
    target
        The file to write.
    title
        Of the document.

    Raises
    ------
    OSError
        When it cannot be written.
    """
    import xlsxwriter

    table = {name: getattr(spots, name) for name in spots.column_names()} | dict(spots.extra)
    columns = {name: column for name, column in table.items() if has_any_value(column)}
    options = {"strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}
    with xlsxwriter.Workbook(str(target), {**options, "default_date_format": "yyyy-mm-dd hh:mm"}) as book:
        book.set_properties({"title": clean_text(title)})
        sheet = book.add_worksheet("spots")
        sheet.freeze_panes(1, 1)
        sheet.write_row(0, 0, [_UNITS.get(name, name) for name in columns], book.add_format({"bold": True}))
        cut = sum(_write_column(sheet, place, column) for place, column in enumerate(columns.values()))
        sheet.autofilter(0, 0, len(spots), max(len(columns) - 1, 0))
    left = max(len(spots) - MOST_ROWS, 0)
    told = [Problem(message="a text is too long for a cell of a workbook and was cut", severity="changed", count=cut)]
    told += [Problem(message="a workbook has no place for so many rows", severity="skipped", count=left)]
    return [problem for problem in told if problem.count]


def _write_column(sheet: Any, place: int, column: np.ndarray) -> int:
    """Write one column below its heading; return how many texts were cut."""
    cut = 0
    for row, value in enumerate(to_items(column[:MOST_ROWS]), 1):
        if isinstance(value, (int, float)) and np.isfinite(value):
            sheet.write_number(row, place, value)
        elif isinstance(value, datetime) and value.year >= _FIRST_YEAR:
            sheet.write_datetime(row, place, value.replace(tzinfo=None))
        elif value not in (None, "") and value == value:
            text = clean_text(str(value))
            cut += len(text) > MOST_LETTERS
            sheet.write_string(row, place, text[:MOST_LETTERS])
    return cut
