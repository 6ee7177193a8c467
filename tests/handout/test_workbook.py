from __future__ import annotations

from pathlib import Path

import numpy as np
import openpyxl

from exchange.handout.limiting import limit_spots
from exchange.handout.workbook import MOST_LETTERS, write_workbook
from exchange.model import Detections
from tests.handout.device_kit import make_list, profile


def test_another_reader_finds_every_cell_and_no_formula(tmp_path: Path) -> None:
    """Opened by another reader, each spot has its row, numbers are numbers, and nothing is a formula."""
    spots = make_list(200, numbers="hostile")
    limited = limit_spots(spots, profile("spreadsheet"), spots.id).spots
    assert write_workbook(limited, tmp_path / "a.xlsx", title="Marrow Flat (invented)") == []
    book = openpyxl.load_workbook(tmp_path / "a.xlsx")
    assert book.properties.title == "Marrow Flat (invented)"
    heads, *rows = list(book["spots"].iter_rows())
    place = {cell.value: index for index, cell in enumerate(heads)}
    assert len(rows) == 200
    assert {cell.data_type for row in rows for cell in row} <= {"s", "n", "d"}
    assert [row[place["longitude"]].value for row in rows] == limited.longitude.tolist()
    got = [row[place["temperature (C)"]].value for row in rows]
    assert np.array_equal(np.array(got, float), limited.temperature, equal_nan=True)
    assert [np.datetime64(row[place["time (UTC)"]].value, "s") for row in rows] == limited.time.astype("M8[s]").tolist()
    assert [row[place["number"]].value for row in rows][3].startswith("the tall burnt pine")


def test_a_text_too_long_for_a_cell_is_cut_and_told(tmp_path: Path) -> None:
    """A spreadsheet would refuse the whole file for one cell too long."""
    spots = Detections(id=["H-001"], longitude=[1.0], latitude=[2.0], note=["x" * (MOST_LETTERS + 1)])
    (problem,) = write_workbook(spots, tmp_path / "a.xlsx")
    assert (problem.severity, problem.count) == ("changed", 1)
    (cell,) = [c for c in openpyxl.load_workbook(tmp_path / "a.xlsx")["spots"][2] if isinstance(c.value, str)][1:]
    assert len(cell.value) == MOST_LETTERS
