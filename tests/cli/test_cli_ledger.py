from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.cli.result import Run


@pytest.fixture(autouse=True)
def plugins(monkeypatch: pytest.MonkeyPatch) -> None:
    """Load the ledger's plugin beside the plain formats."""
    monkeypatch.setenv("EXCHANGE_PLUGINS", "csv,geojson,ledger")


@pytest.fixture
def started(exchange: Run, folder: Path) -> Path:
    """Start a ledger and add the first sortie."""
    assert exchange("ledger", "start", "fire.gpkg", "--incident", "Marrow Flat").code == 0
    assert exchange("ledger", "add", "fire.gpkg", "sortie.csv", "--sortie", "D-1").code == 0
    return folder / "fire.gpkg"


def test_start_names_the_fire_and_replaces_nothing(exchange: Run, folder: Path) -> None:
    """Starting twice is a failure in words."""
    assert (
        "the ledger of Marrow Flat is started" in exchange("ledger", "start", "a.gpkg", "--incident", "Marrow Flat").err
    )
    again = exchange("ledger", "start", "a.gpkg")
    assert (again.code, again.out) == (1, "")
    assert "exists already" in again.err


def test_add_tells_what_came_and_the_second_time_that_nothing_changed(exchange: Run, started: Path) -> None:
    """The report names source and counts; the same content again is no change."""
    (folder := started.parent).joinpath("again.csv").write_bytes((folder / "sortie.csv").read_bytes())
    before = started.read_bytes()
    report = json.loads(exchange("ledger", "add", "fire.gpkg", "again.csv", "--json").out)
    assert report["version"] == 1
    assert report["added"][0]["is_new"] is False
    assert "again.csv: no change" in exchange("ledger", "add", "fire.gpkg", "again.csv").err
    assert started.read_bytes() == before


def test_show_tells_where_it_stands_and_what_was_known_then(exchange: Run, started: Path) -> None:
    """The text goes to standard output, the caution to standard error; a time before the start is told."""
    shown = exchange("ledger", "show", "fire.gpkg")
    assert shown.code == 0
    assert "2 sightings are part of no spot yet" in shown.out
    assert "exchange ledger add fire.gpkg sortie.csv --sortie D-1" in shown.out
    assert "incident's command" in " ".join(shown.err.split())
    report = json.loads(exchange("ledger", "show", "fire.gpkg", "--json").out)
    start = report["acts"][0]["time"]
    then = json.loads(exchange("ledger", "show", "fire.gpkg", "--as-of", start, "--json").out)
    assert (then["act"], then["counts"]["sightings"], report["counts"]["sightings"]) == (1, 0, 2)
    early = exchange("ledger", "show", "fire.gpkg", "--as-of", "2001-01-01T00:00Z")
    assert (early.code, "it was started at" in early.err) == (1, True)
    assert exchange("ledger", "show", "fire.gpkg", "--as-of", "2001-01-01T00:00").code == 2


def test_withdraw_takes_a_source_out_and_names_what_changed(exchange: Run, started: Path) -> None:
    """A source that is not there is told with those that are."""
    done = exchange("ledger", "withdraw", "fire.gpkg", "sortie.csv")
    assert (done.code, "withdrawn, 2 sightings, 0 notes" in done.err) == (0, True)
    again = exchange("ledger", "withdraw", "fire.gpkg", "sortie.csv")
    assert (again.code, "no source in force is called 'sortie.csv'" in again.err) == (1, True)


def test_export_writes_any_format_and_any_layer(exchange: Run, started: Path) -> None:
    """The whole goes to a file, one layer to standard output, and what is no layer is wrong usage."""
    assert exchange("ledger", "export", "fire.gpkg", "-o", "now.geojson").code == 0
    assert json.loads((started.parent / "now.geojson").read_bytes())["features"]
    streamed = exchange("ledger", "export", "fire.gpkg", "-o", "-", "--to", "csv", "--layer", "sightings")
    assert "stump" in streamed.out
    assert exchange("ledger", "export", "fire.gpkg", "-o", "x.csv", "--layer", "hot").code == 2
    assert exchange("ledger", "export", "fire.gpkg", "-o", "-", "--to", "csv", "--json").code == 2


def test_a_ledger_is_inspected_and_converted_like_any_file(exchange: Run, started: Path) -> None:
    """``inspect`` and ``convert`` know it by what it holds."""
    found = json.loads(exchange("inspect", "fire.gpkg", "--json").out)["files"][0]
    assert (found["format"], found["incident"], found["counts"]) == ("ledger", "Marrow Flat", {"detections": 2})
    assert exchange("convert", "fire.gpkg", "-o", "all.csv").code == 0


def test_check_passes_and_a_damaged_ledger_is_restored(exchange: Run, started: Path) -> None:
    """A check is quiet about what is whole, exits 1 about what is not, and says by which command to go back."""
    assert "fire.gpkg: is whole, 2 acts" in exchange("ledger", "check", "fire.gpkg").err
    started.write_bytes(started.read_bytes()[:30_000])
    found = exchange("ledger", "check", "fire.gpkg")
    assert (found.code, "exchange ledger restore" in found.err) == (1, True)
    restored = exchange("ledger", "restore", "fire.gpkg")
    assert (restored.code, "the copy of act 2 is in its place" in restored.err) == (0, True)
    assert json.loads(exchange("ledger", "check", "fire.gpkg", "--json").out)["problems"] == []


def test_the_words_of_a_group_are_told(exchange: Run) -> None:
    """``exchange ledger --help`` lists what can be done."""
    told = exchange("ledger", "--help").out
    assert [
        word for word in ("start", "add", "withdraw", "show", "check", "export", "restore") if word not in told
    ] == []
