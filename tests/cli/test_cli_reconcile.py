from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from exchange.formats.reading import read
from tests.cli.result import Run

FIRE = Path(__file__).parents[2] / "fixtures" / "marrow_flat"
LIST = """\
number,lat,lon,status,last seen
H-001,44.5,-114.0,unchecked,2026-08-14T05:00:00Z
H-002,44.5,-114.001,hot,2026-08-14T05:00:00Z
"""
SHEET = "Number,Out,Hot,Time,By\n1,x,,2026-08-14T15:00:00Z,Alder\nH-002,,x,2026-08-14T15:10:00Z,Alder\n"


@pytest.fixture(autouse=True)
def returned(folder: Path) -> None:
    """Put a small list and a crew's sheet into the folder."""
    (folder / "list.csv").write_text(LIST, encoding="utf-8")
    (folder / "sheet.csv").write_text(SHEET, encoding="utf-8")


def test_reports_come_onto_the_list(exchange: Run) -> None:
    """The output holds each spot with its current status, and the reports it rests on."""
    done = exchange("reconcile", "sheet.csv", "--onto", "list.csv", "-o", "now.geojson")
    assert (done.code, done.out) == (0, "")
    assert "now.geojson; reports on spots: 2" in done.err
    assert "status: 1 hot, 1 out" in done.err
    now = read("now.geojson")
    assert dict(zip(now.detections.id, now.detections.status, strict=True)) == {"H-001": "out", "H-002": "hot"}
    assert now.notes.author.tolist() == ["Alder", "Alder"]


def test_every_run_ends_with_a_caution(exchange: Run) -> None:
    """Words and report both say that the list is what people reported, and who decides."""
    words = exchange("reconcile", "sheet.csv", "--onto", "list.csv", "-o", "a.geojson")
    assert words.err.rstrip().endswith("the incident's command, licensed practice and local rules decide.")
    report = exchange("reconcile", "sheet.csv", "--onto", "list.csv", "-o", "b.geojson", "--json")
    assert "local rules decide" in json.loads(report.out)["caution"]


def test_the_same_return_twice_changes_nothing(exchange: Run, folder: Path) -> None:
    """A return that is reconciled again onto what it gave leaves the file as it is, byte for byte."""
    exchange("reconcile", "sheet.csv", "--onto", "list.csv", "-o", "once.geojson")
    exchange("reconcile", "sheet.csv", "--onto", "once.geojson", "-o", "twice.geojson")
    assert (folder / "twice.geojson").read_bytes() == (folder / "once.geojson").read_bytes()


def test_what_a_person_must_look_at_ends_with_its_own_code(exchange: Run, folder: Path) -> None:
    """A report on a number that the list lacks is told with file and record, kept in the output, and ends with 3."""
    (folder / "sheet.csv").write_text("Number,Out\nH-099,x\n", encoding="utf-8")
    done = exchange("reconcile", "sheet.csv", "--onto", "list.csv", "-o", "now.geojson")
    assert done.code == 3
    assert "unplaced: sheet.csv, record 1: names H-099, which the list does not have" in done.err
    note = read("now.geojson").notes.row(0)
    assert (note.detection, note.status, note.extra["question"]) == ("", "out", "unplaced")
    assert note.extra["returned_name"] == "H-099"


def test_the_report_lists_every_question(exchange: Run, folder: Path) -> None:
    """With --json, each question has its kind, number, words, file, layer and record, under stable keys."""
    (folder / "sheet.csv").write_text(
        "Number,Status,Time\nH-001,hot,2026-08-14T15:00:00Z\nH-001,out,2026-08-14T15:05:00Z\n", encoding="utf-8"
    )
    done = exchange("reconcile", "sheet.csv", "--onto", "list.csv", "-o", "now.geojson", "--json")
    report = json.loads(done.out)
    assert (done.code, report["version"], report["question_counts"]) == (3, 1, {"disputed": 1})
    assert report["reports"] == {"on_spots": 2, "kept_aside": 0, "nothing_new": 0, "places": 0}
    assert report["status"] == {"hot": 2}
    assert report["questions"] == [
        {
            "kind": "disputed",
            "number": "H-001",
            "value": "",
            "words": "'hot' in sheet.csv at 2026-08-14T15:00Z, 'out' in sheet.csv at 2026-08-14T15:05Z; "
            "'hot', the more cautious, stands",
            "file": "list.csv",
            "layer": "",
            "record": 1,
        }
    ]


def test_the_span_and_the_time_can_be_stated(exchange: Run, folder: Path) -> None:
    """A narrower span settles a dispute; a stated time dates what has none."""
    (folder / "sheet.csv").write_text("Number,Out\nH-001,x\n", encoding="utf-8")
    undated = exchange("reconcile", "sheet.csv", "--onto", "list.csv", "-o", "a.geojson")
    assert (undated.code, read("a.geojson").detections.status[0]) == (3, "recheck")
    stated = ("--observed", "2026-08-14T18:00Z", "--same-time", "1", "--author", "Alder", "--reach", "5")
    dated = exchange("reconcile", "sheet.csv", "--onto", "list.csv", "-o", "b.geojson", *stated)
    assert (dated.code, read("b.geojson").detections.status[0]) == (0, "out")
    assert read("b.geojson").notes.author.tolist() == ["Alder"]


def test_no_report_is_later_than_the_file_it_came_in(exchange: Run) -> None:
    """With --received, a report dated later is taken as undated and told; without it the clock of no machine counts."""
    stated = ("reconcile", "sheet.csv", "--onto", "list.csv", "--received", "2026-08-14T14:30Z")
    done = exchange(*stated, "-o", "a.geojson")
    notes = read("a.geojson").notes
    assert (done.code, notes.extra["question"].tolist()) == (3, ["clock", "clock"])
    assert np.isnat(notes.time).all()
    assert read("a.geojson").detections.status.tolist() == ["recheck", "hot"]


def test_a_manifest_names_the_spots(exchange: Run, folder: Path) -> None:
    """A short name that was handed out is read by its manifest."""
    from exchange.formats.manifest_file import write_manifest
    from exchange.model.manifest import Manifest

    write_manifest(Manifest(number=["H-002"], short_name=["Ridge"], profile=["small"]), folder / "manifest.csv")
    (folder / "back.csv").write_text("Number,Out,Time\nridge,x,2026-08-14T15:00:00Z\n", encoding="utf-8")
    done = exchange("reconcile", "back.csv", "--onto", "list.csv", "--manifest", "manifest.csv", "-o", "now.geojson")
    assert (done.code, read("now.geojson").notes.detection.tolist()) == (0, ["H-002"])


def test_words_of_the_users_own(exchange: Run, folder: Path) -> None:
    """A table of words given with --words is read, and a wrong one is wrong usage."""
    (folder / "own.toml").write_text('[text.out]\nours = ["mineral soil"]\n', encoding="utf-8")
    (folder / "back.csv").write_text("Number,Comment,Time\nH-001,mineral soil,2026-08-14T15:00:00Z\n", encoding="utf-8")
    plain = exchange("reconcile", "back.csv", "--onto", "list.csv", "-o", "a.geojson")
    assert (plain.code, "the comment 'mineral soil' has no known meaning" in plain.err) == (3, True)
    own = exchange("reconcile", "back.csv", "--onto", "list.csv", "-o", "b.geojson", "--words", "own.toml")
    assert (own.code, read("b.geojson").detections.status[0]) == (0, "out")
    wrong = exchange("reconcile", "back.csv", "--onto", "list.csv", "-o", "c.geojson", "--words", "list.csv")
    assert (wrong.code, "list.csv" in wrong.err) == (2, True)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("sheet.csv", "-o", "x.geojson"), "nothing says where the reports belong"),
        (("sheet.csv", "--onto", "list.csv"), "nothing says where the reports belong"),
        (("sheet.csv", "--ledger", "fire.gpkg", "-o", "x.geojson"), "a ledger holds list and reports itself"),
        (("sheet.csv", "--onto", "sheet.csv", "-o", "x.geojson"), "holds no spots"),
        (("sheet.csv", "--onto", "sortie.csv", "-o", "x.geojson"), "its spots carry no numbers"),
        (("sheet.csv", "--onto", "list.csv", "-o", "x.geojson", "--observed", "noon"), "'noon' is no instant"),
        (("sheet.csv", "--onto", "list.csv", "-o", "x.geojson", "--observed", "2026-08-14T12:00"), "is no instant"),
        (("sheet.csv", "--onto", "list.csv", "-o", "x.geojson", "--reach", "-1"), "-1 m is no reach"),
        (("sheet.csv", "--onto", "list.csv", "-o", "x.geojson", "--same-time", "-1"), "-1 minutes is no span"),
        (("sheet.csv", "--onto", "list.csv", "-o", "-"), "no name to tell its format"),
        (("sheet.csv", "--onto", "list.csv", "-o", "-", "--json"), "both the data and the report"),
    ],
)
def test_wrong_usage_is_told(arguments: tuple[str, ...], words: str, exchange: Run, folder: Path) -> None:
    """What cannot be done as asked ends with 2, says why, and writes nothing."""
    done = exchange("reconcile", *arguments)
    assert (done.code, words in done.err) == (2, True)
    assert not (folder / "x.geojson").exists()


def test_an_existing_file_is_kept(exchange: Run, folder: Path) -> None:
    """The list itself is not replaced unless that is asked for."""
    done = exchange("reconcile", "sheet.csv", "--onto", "list.csv", "-o", "list.csv")
    assert (done.code, "exists already" in done.err) == (1, True)
    assert (folder / "list.csv").read_text(encoding="utf-8") == LIST


def test_data_goes_to_standard_output(exchange: Run) -> None:
    """With '-o -' the list is on standard output and every word elsewhere."""
    done = exchange("reconcile", "sheet.csv", "--onto", "list.csv", "-o", "-", "--to", "geojson")
    assert json.loads(done.out)["type"] == "FeatureCollection"
    assert "standard output; reports on spots: 2" in done.err


def test_tracks_that_came_back_are_told(exchange: Run, folder: Path) -> None:
    """A line among the returned marks is no report; that it is left out is said."""
    line = {"type": "LineString", "coordinates": [[-114.0, 44.5], [-114.001, 44.501]]}
    mark = {"type": "Point", "coordinates": [-114.0, 44.5]}
    features = [
        {"type": "Feature", "geometry": line, "properties": {"name": "walk"}},
        {"type": "Feature", "geometry": mark, "properties": {"name": "H-001", "comment": "still hot"}},
    ]
    (folder / "walk.geojson").write_text(json.dumps({"type": "FeatureCollection", "features": features}))
    done = exchange("reconcile", "walk.geojson", "--onto", "list.csv", "-o", "now.geojson")
    assert "note: tracks that came back are no reports and are not carried on" in done.err
    assert "now.geojson; reports on spots: 1" in done.err


def test_the_invented_fire_from_files_to_file(exchange: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    """The returns of the invented fire end with one conflict, two unplaced reports and one dispute, as in truth."""
    monkeypatch.delenv("EXCHANGE_PLUGINS")
    names = [str(FIRE / "returns" / name) for name in ("alder.gpx", "juniper.csv", "office.kml")]
    onto = str(FIRE / "lists" / "after_period_1.geojson")
    arguments = (*names, "--onto", onto, "--assume-tz", "America/Boise", "-o", "now.gpx", "--json")
    done = exchange("reconcile", *arguments)
    report = json.loads(done.out)
    assert done.code == 3
    assert report["question_counts"] == {"conflict": 1, "unplaced": 2, "disputed": 1}
    assert report["reports"] == {"on_spots": 32, "kept_aside": 3, "nothing_new": 98, "places": 0}
    assert report["status"] == {"hot": 6, "recheck": 6, "working": 3, "unchecked": 73, "out": 15}
    assert [q["number"] for q in report["questions"] if q["kind"] == "disputed"] == ["H-088"]
    now = read("now.gpx")
    assert (len(now.notes), len(now.detections)) == (35, 103)
    assert dict(zip(now.detections.id, now.detections.extra["flag"], strict=True))["H-088"] == "disputed"


PROFILES = ("six-capitals", "ten-letters", "thirty-letters", "phone-waypoints", "phone-map", "ground-table",
            "spreadsheet", "desktop-map")  # fmt: skip


def _hand_out(exchange: Run, folder: Path, profile: str) -> Path:
    """Hand the list out as one kind of device holds it, with reports on it so far; return the one file."""
    exchange("reconcile", "sheet.csv", "--onto", "list.csv", "-o", "list.geojson")
    done = exchange("handout", "list.geojson", "--profile", profile, "-o", "out")
    assert done.code in (0, 3), done.err
    (file,) = (path for path in (folder / "out").iterdir() if path.name not in ("manifest.csv", "index.txt"))
    return file


@pytest.mark.parametrize("profile", PROFILES)
def test_what_was_handed_out_comes_back_silent(
    profile: str, exchange: Run, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A device's file that nobody touched holds no report, though its comments name the status it was handed out in."""
    monkeypatch.delenv("EXCHANGE_PLUGINS")
    file = _hand_out(exchange, folder, profile)
    arguments = ("--onto", "list.geojson", "--manifest", "out/manifest.csv", "-o", "now.geojson", "--json")
    report = json.loads(exchange("reconcile", str(file), *arguments).out)
    assert report["reports"] == {"on_spots": 0, "kept_aside": 0, "nothing_new": 2, "places": 0}
    assert report["questions"] == []


def test_words_written_behind_a_handed_out_comment_count(
    exchange: Run, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where a crew wrote behind the comment of its device, only what it wrote is read."""
    monkeypatch.delenv("EXCHANGE_PLUGINS")
    file = _hand_out(exchange, folder, "thirty-letters")
    text = file.read_text(encoding="utf-8")
    start = text.index("<cmt>", text.index("H-002")) + len("<cmt>")
    end = text.index("</cmt>", start)
    assert "hot" in text[start:end].lower()
    file.write_text(text[:end] + " dead out" + text[end:], encoding="utf-8")
    arguments = ("--onto", "list.geojson", "--manifest", "out/manifest.csv", "-o", "now.geojson")
    exchange("reconcile", str(file), *arguments, "--observed", "2026-08-14T20:00Z")
    now = read("now.geojson")
    assert dict(zip(now.detections.id, now.detections.status, strict=True))["H-002"] == "out"
    assert now.notes.text.tolist()[-1] == "dead out"


SIGHTINGS = """\
lat,lon,temp (C),time,sortie
44.5,-114.0,300,2026-08-14T05:00:00Z,D-1
44.5,-114.001,310,2026-08-14T05:01:00Z,D-1
"""


@pytest.fixture
def ledger(folder: Path, exchange: Run) -> Path:
    """Start a ledger with two spots, H-001 and H-002."""
    from exchange.formats.reading import as_input
    from exchange.incident.adding import add_files
    from exchange.incident.merging import merge_ledger
    from tests.incident.incident_kit import HOST, NO_SHIFT

    path = folder / "fire.gpkg"
    assert exchange("ledger", "start", str(path)).code == 0
    (folder / "d1.csv").write_text(SIGHTINGS, encoding="utf-8")
    add_files(path, [as_input(folder / "d1.csv")], host=HOST, command="exchange ledger add")
    merge_ledger(path, options=NO_SHIFT, command="exchange merge --ledger")
    return path


def test_a_ledger_takes_returns(exchange: Run, ledger: Path) -> None:
    """With --ledger, reports and status go into the incident's file, and the list it exports has them."""
    done = exchange("reconcile", "sheet.csv", "--ledger", str(ledger))
    assert done.code == 0, done.err
    assert f"{ledger}; reports on spots: 2" in done.err
    assert "status: 1 hot, 1 out" in done.err
    exchange("ledger", "export", str(ledger), "-o", "now.geojson")
    now = read("now.geojson")
    assert dict(zip(now.detections.id, now.detections.status, strict=True)) == {"H-001": "out", "H-002": "hot"}


def test_the_same_file_into_a_ledger_twice_changes_nothing(exchange: Run, ledger: Path) -> None:
    """A file that is in the ledger is told to be, and the list stays as it is."""
    exchange("reconcile", "sheet.csv", "--ledger", str(ledger))
    again = exchange("reconcile", "sheet.csv", "--ledger", str(ledger), "--json")
    report = json.loads(again.out)
    assert report["reports"] == {"on_spots": 0, "kept_aside": 0, "nothing_new": 0, "places": 0}
    assert report["status"] == {"hot": 1, "out": 1}
    assert ["is in the ledger already" in problem["message"] for problem in report["problems"]] == [True]


def test_a_ledger_keeps_what_a_person_must_look_at(exchange: Run, ledger: Path, folder: Path) -> None:
    """A report that finds no spot ends with 3, and stays in the ledger."""
    (folder / "sheet.csv").write_text("Number,Out\nH-099,x\n", encoding="utf-8")
    done = exchange("reconcile", "sheet.csv", "--ledger", str(ledger))
    assert (done.code, "unplaced: sheet.csv, record 1: names H-099" in done.err) == (3, True)
    assert "H-099" in exchange("ledger", "show", str(ledger), "--json").out
