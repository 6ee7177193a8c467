from __future__ import annotations

from pathlib import Path

import pytest

from tests.cli.result import SORTIE, Run

JUNK = bytes(range(256)) * 4

WRONG = {
    "missing file": (("inspect", "missing.csv"), "missing.csv", "Check the name"),
    "folder": (("inspect", "sub"), "sub", "Check the name"),
    "empty file": (("inspect", "empty.csv"), "empty.csv", "Ask its sender"),
    "unknown suffix": (("inspect", "junk.unknown"), "junk.unknown", "--from"),
    "unknown format": (("inspect", "sortie.csv", "--from", "unknown"), "unknown", "csv, geojson"),
    "wrong format": (("inspect", "sortie.geojson", "--from", "csv"), "sortie.geojson", "--columns"),
    "binary junk": (("inspect", "junk.csv"), "junk.csv", "--from"),
    "wrong suffix": (("inspect", "junk.geojson"), "junk.geojson", "--from"),
    "unknown suffix to write": (("convert", "sortie.csv", "-o", "out.unknown"), "out.unknown", "--to"),
    "bad zone": (("inspect", "sortie.csv", "--assume-tz", "Marrow/Flat"), "Marrow/Flat", "America/Boise"),
    "offset out of range": (("inspect", "sortie.csv", "--assume-tz", "+99:00"), "+99:00", "-07:00"),
    "unit without a column": (("inspect", "sortie.csv", "--unit", "F"), "'F'", "temperature=F"),
    "no unit of the column": (("inspect", "sortie.csv", "--unit", "temperature=acre"), "acre", "temperature"),
    "column without a unit": (("inspect", "sortie.csv", "--unit", "name=F"), "name=F", "takes no unit"),
    "mapping missing": (("inspect", "sortie.csv", "--columns", "no.toml"), "no.toml", "Check the name"),
    "mapping that is no TOML": (("inspect", "sortie.csv", "--columns", "sortie.csv"), "sortie.csv", ""),
    "half a position": (("inspect", "sortie.csv", "--longitude-column", "lon"), "--latitude-column", ""),
}


@pytest.fixture(autouse=True)
def _wrong_files(folder: Path) -> None:
    (folder / "sub").mkdir()
    (folder / "empty.csv").touch()
    for name in ("junk.csv", "junk.unknown", "junk.geojson"):
        (folder / name).write_bytes(JUNK)
    (folder / "sortie.geojson").write_text('{"type": "FeatureCollection", "features": []}', encoding="utf-8")


@pytest.mark.parametrize(("arguments", "named", "remedy"), WRONG.values(), ids=WRONG)
def test_a_wrong_input_is_told_in_a_few_lines(
    exchange: Run, arguments: tuple[str, ...], named: str, remedy: str
) -> None:
    """The message names the file or the word that is wrong and what to do, in a line or a few, without a traceback."""
    result = exchange(*arguments)
    assert result.code in (1, 2)
    assert result.out == ""
    lines = result.err.splitlines()
    assert 1 <= len(lines) <= 4
    assert lines[0].startswith("exchange: ")
    assert named in lines[0]
    assert remedy in result.err
    for fault in ("Traceback", "fault of this program", "Error:", "[Errno"):
        assert fault not in result.err


def test_a_file_under_another_formats_suffix_is_read_for_what_it_is(exchange: Run, folder: Path) -> None:
    """A table named like GeoJSON is read as the table it is: the content decides where the suffix cannot be right."""
    (folder / "table.geojson").write_text(SORTIE, encoding="utf-8")
    result = exchange("inspect", "table.geojson")
    assert result.code == 0
    assert "2 detections" in result.out


def test_the_first_file_is_told_though_the_second_is_missing(exchange: Run) -> None:
    """What was found before the failure is not withheld."""
    result = exchange("inspect", "sortie.csv", "missing.csv")
    assert result.code == 1
    assert "2 detections" in result.out
    assert "missing.csv" in result.err
