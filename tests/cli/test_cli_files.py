from __future__ import annotations

from pathlib import Path

import pytest

from tests.cli.result import Run

MALFORMED = '{"type": "FeatureCollection", "features": [{"type": "Feature", "geometry": {"type": "Poi'


def test_an_existing_file_is_refused_and_kept(exchange: Run, folder: Path) -> None:
    """Nothing is replaced unless told to; the message names the file and the option."""
    (folder / "out.csv").write_text("old", encoding="utf-8")
    result = exchange("convert", "sortie.csv", "-o", "out.csv")
    assert result.code == 1
    assert "out.csv: exists already" in result.err
    assert "--overwrite" in result.err
    assert (folder / "out.csv").read_text(encoding="utf-8") == "old"


def test_overwrite_replaces_it(exchange: Run, folder: Path) -> None:
    """With --overwrite the old file gives way to the whole new one, and nothing else stays behind."""
    (folder / "out.csv").write_text("old", encoding="utf-8")
    before = sorted(folder.iterdir())
    assert exchange("convert", "sortie.csv", "-o", "out.csv", "--overwrite").code == 0
    assert "stump" in (folder / "out.csv").read_text(encoding="utf-8")
    assert sorted(folder.iterdir()) == before


@pytest.mark.parametrize("overwrite", [[], ["--overwrite"]], ids=["new", "overwrite"])
def test_a_failing_conversion_leaves_no_file(exchange: Run, folder: Path, overwrite: list[str]) -> None:
    """Where the last of several inputs fails, neither the output nor a trace of it is there."""
    (folder / "cut.geojson").write_text(MALFORMED, encoding="utf-8")
    before = sorted(folder.iterdir())
    result = exchange("convert", "sortie.csv", "cut.geojson", "-o", "out.csv", *overwrite)
    assert result.code == 1
    assert "cut.geojson" in result.err
    assert sorted(folder.iterdir()) == before


def test_a_failing_conversion_keeps_the_old_file(exchange: Run, folder: Path) -> None:
    """Even with --overwrite the old file stays until the new one is whole."""
    (folder / "cut.geojson").write_text(MALFORMED, encoding="utf-8")
    (folder / "out.csv").write_text("old", encoding="utf-8")
    assert exchange("convert", "cut.geojson", "-o", "out.csv", "--overwrite").code == 1
    assert (folder / "out.csv").read_text(encoding="utf-8") == "old"


def test_a_failing_conversion_streams_nothing(exchange: Run, folder: Path) -> None:
    """Standard output gets the whole file or not a byte."""
    (folder / "cut.geojson").write_text(MALFORMED, encoding="utf-8")
    result = exchange("convert", "sortie.csv", "cut.geojson", "-o", "-", "--to", "csv")
    assert (result.code, result.out) == (1, "")


@pytest.mark.parametrize("name", ["sub", "nowhere/out.csv"])
def test_a_place_that_cannot_be_written_is_named(exchange: Run, folder: Path, name: str) -> None:
    """A folder as output, or a folder that is not there, is told with its name."""
    (folder / "sub").mkdir()
    result = exchange("convert", "sortie.csv", "-o", name, "--to", "csv", "--overwrite")
    assert result.code == 1
    assert result.err.startswith(f"exchange: {name}: ")
    assert list((folder / "sub").iterdir()) == []


def test_several_files_become_one(exchange: Run, folder: Path) -> None:
    """All rows of all inputs are in the output; --with-source tells which came from where."""
    result = exchange("convert", "sortie.csv", "no-zone.csv", "--assume-tz", "UTC", "--with-source", "-o", "all.csv")
    assert result.code == 0
    text = (folder / "all.csv").read_text(encoding="utf-8")
    assert (text.count("sortie.csv"), text.count("no-zone.csv")) == (2, 1)
