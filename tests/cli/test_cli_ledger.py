from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.cli.result import Run


@pytest.fixture(autouse=True)
def plugins(monkeypatch: pytest.MonkeyPatch) -> None:
    """Load the ledger's plugin beside the plain formats."""
    monkeypatch.setenv("EXCHANGE_PLUGINS", "csv,geojson,gpx,ledger")


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


LATER = (
    "lat,lon,temp (C),time,name\n44.5,-114.2,250,2026-08-14T22:03:05Z,stump\n44.7,-114.4,310,2026-08-14T22:04:05Z,new\n"
)
CREW = "Number,Status,Time,By\nH-001,out,2026-08-14T20:00:00Z,Juniper\nH-077,hot,2026-08-14T20:00:00Z,Juniper\n"


def test_a_day_runs_through_the_ledger(exchange: Run, started: Path) -> None:
    """Merge, hand out, reconcile, merge the evening's sortie, which reopens a spot, and withdraw it again."""
    merged = exchange("merge", "--ledger", "fire.gpkg", "--no-shift")
    assert "is part of no spot" not in exchange("ledger", "show", "fire.gpkg").out
    assert (merged.code, merged.out) == (0, "")
    handed = exchange("handout", "fire.gpkg", "--profile", "six-capitals", "-o", "devices")
    assert handed.code in (0, 3), handed.err
    returned = started.parent / "crew.csv"
    returned.write_text(CREW, encoding="utf-8")
    done = exchange("reconcile", "crew.csv", "--ledger", "fire.gpkg")
    assert (done.code, "unplaced" in done.err) == (3, True)
    (started.parent / "later.csv").write_text(LATER, encoding="utf-8")
    evening = exchange(
        "merge", "later.csv", "--ledger", "fire.gpkg", "--no-shift", "--sortie", "N-1", "-o", "now.geojson"
    )
    assert (evening.code, "reopened" in evening.err) == (3, True)
    listed = json.loads((started.parent / "now.geojson").read_bytes())["features"]
    assert {f["id"]: f["properties"]["status"] for f in listed} == {
        "H-001": "recheck", "H-002": "unchecked", "H-003": "unchecked",
    }  # fmt: skip
    shown = json.loads(exchange("ledger", "show", "fire.gpkg", "--json").out)
    kinds = [act["kind"] for act in shown["acts"]]
    assert kinds == ["start", "add", "merge", "handout", "reconcile", "add", "merge"]
    assert shown["status"] == {"recheck": 1, "unchecked": 2}
    assert any("reopened" in finding["message"] for finding in shown["findings"])
    gone = exchange("ledger", "withdraw", "fire.gpkg", "later.csv")
    assert "spots gone: H-003" in gone.err
    then = json.loads(exchange("ledger", "show", "fire.gpkg", "--json").out)
    assert then["status"] == {"unchecked": 1, "out": 1}
    assert exchange("ledger", "check", "fire.gpkg").code == 0


def test_merging_needs_files_or_a_ledger(exchange: Run) -> None:
    """Without either it is wrong usage."""
    assert exchange("merge", "-o", "now.geojson").code == 2


@pytest.mark.parametrize("option", [("--cells", "2000"), ("--onto", "sortie.csv", "--onto-sightings", "sortie.csv")])
def test_what_a_ledger_does_itself_is_wrong_usage(exchange: Run, started: Path, option: tuple[str, ...]) -> None:
    """Cells and an earlier list's sightings are refused, and nothing is done."""
    before = started.read_bytes()
    assert exchange("merge", "--ledger", "fire.gpkg", *option).code == 2
    assert started.read_bytes() == before


def test_short_names_stay_when_handed_out_again(exchange: Run, started: Path) -> None:
    """The ledger holds the names it has given, in whatever folder the second handout goes."""
    exchange("merge", "--ledger", "fire.gpkg", "--no-shift")
    for folder in ("first", "second"):
        assert exchange("handout", "fire.gpkg", "--profile", "six-capitals", "-o", folder).code in (0, 3)
    first, second = (
        {
            line.split(",")[0]: line.split(",")[1]
            for line in (started.parent / name / "manifest.csv").read_text().splitlines()
        }
        for name in ("first", "second")
    )
    assert first == second
    assert len(first) > 2


def test_a_traced_perimeter_is_kept_in_the_ledger(exchange: Run, started: Path) -> None:
    """The perimeter of the invented fire's first day is written, kept, and kept once."""
    track = Path(__file__).parents[2] / "fixtures/marrow_flat/tracks/d1_edge.gpx"
    for _ in range(2):
        done = exchange("perimeter", str(track), "-o", "edge.geojson", "--overwrite", "--ledger", "fire.gpkg")
        assert done.code in (0, 3), done.err
    shown = json.loads(exchange("ledger", "show", "fire.gpkg", "--json").out)
    assert shown["counts"]["perimeters"] == 1
    assert [act["kind"] for act in shown["acts"]] == ["start", "add", "perimeter"]
