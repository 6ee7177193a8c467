from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

from exchange.formats.reading import read
from tests.cli.result import SORTIE, Run

LIST = "number,lat,lon,status,last seen\nH-001,44.5,-114.0,unchecked,2026-08-14T05:00:00Z\n"
BACK = "Number,Out,Time,By\nH-001,x,2026-08-14T15:00:00Z,Alder\n"
MANIFEST = "number,short_name,profile,file,longitude,latitude,status,aliases,handed_out,comment\n"
TRACK = (
    '<gpx xmlns="http://www.topografix.com/GPX/1/1" version="1.1" creator="invented"><trk><trkseg>'
    '<trkpt lat="44.5" lon="-114"/><trkpt lat="44.6" lon="-114"/></trkseg></trk></gpx>'
)
BAD_NAME = os.fsdecode(b"back\xff.csv")
RECONCILE = ("--onto", "list.csv", "-o", "x.geojson")


@pytest.fixture(autouse=True)
def _files(folder: Path) -> None:
    for name, text in {"list.csv": LIST, "back.csv": BACK, "track.gpx": TRACK, BAD_NAME: BACK}.items():
        (folder / name).write_text(text, encoding="utf-8")
    (folder / "other.csv").write_text(f"{MANIFEST}Z-900,AA1,p,f.gpx,-114.0,44.5,hot,,2026-08-14T06:00:00Z,\n")


WRONG = {
    "a track as a return": (("reconcile", "track.gpx", *RECONCILE), 1, "no report in track.gpx, but 1 tracks, 2 fixes"),
    "a manifest of another list": (
        ("reconcile", "back.csv", *RECONCILE, "--manifest", "other.csv"),
        2,
        "other.csv, field --manifest: names Z-900 and no spot of the list",
    ),
    "a list from standard input": (
        ("reconcile", "back.csv", "--onto", "-", "-o", "x.geojson"),
        2,
        "the list cannot come from standard input",
    ),
    "a span without an end": (("reconcile", "back.csv", *RECONCILE, "--same-time", "inf"), 2, "inf minutes is no span"),
    "a reach around the earth": (("reconcile", "back.csv", *RECONCILE, "--reach", "1e9"), 2, "1e+09 m is no reach"),
    "a track to hand out": (
        ("handout", "track.gpx", "--profile", "ten-letters", "-o", "x.geojson"),
        1,
        "track.gpx: no spot in it, but 1 tracks, 2 fixes",
    ),
    "a unit of a column that the file lacks": (
        ("convert", "list.csv", "-o", "x.gpx", "--unit", "temperature=X"),
        2,
        "field --unit: temperature=X is no unit of a column",
    ),
    "a distance below 0": (
        ("merge", "list.csv", "-o", "x.geojson", "--within", "-5"),
        2,
        "field --within: -5.0 is no distance to judge by",
    ),
    "a layer that is not there": (
        ("convert", "track.gpx", "-o", "x.gpx", "--layer", "nosuch"),
        2,
        "track.gpx, field --layer: there is no layer 'nosuch'",
    ),
    "a folder that is not there": (("convert", "list.csv", "-o", "nodir/x.gpx"), 1, "Make its folder first"),
    "a list as a ledger": (
        ("reconcile", "back.csv", "--ledger", "list.csv"),
        1,
        "list.csv: is no ledger, nor any SQLite database",
    ),
    "a name too long": (("convert", "list.csv", "-o", "x" * 300 + ".gpx"), 1, "File name too long"),
}


@pytest.mark.parametrize(("arguments", "code", "words"), WRONG.values(), ids=WRONG)
def test_a_wrong_file_or_value_is_told_and_nothing_is_written(
    arguments: tuple[str, ...], code: int, words: str, exchange: Run, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each ends with its code, says what is wrong, blames no fault of the program and leaves no file."""
    monkeypatch.delenv("EXCHANGE_PLUGINS")
    before = _names(folder)
    done = exchange(*arguments)
    assert (done.code, words in done.err) == (code, True), done.err
    assert "fault of this program" not in done.err
    assert _names(folder) == before


def test_a_file_given_twice_is_read_once(exchange: Run) -> None:
    """A return that is named twice, by whatever path, holds each report once, and that is told."""
    done = exchange("reconcile", "back.csv", "./back.csv", *RECONCILE)
    assert "note: ./back.csv is given twice; it is read once" in done.err
    assert len(read("x.geojson").notes) == 1


def test_a_manifest_of_this_list_beside_one_of_another_is_not_enough(exchange: Run, folder: Path) -> None:
    """Each manifest must name a spot of the list; one that names some of its spots will do."""
    (folder / "mine.csv").write_text(f"{MANIFEST}H-001,A1,p,f.gpx,-114.0,44.5,hot,,2026-08-14T06:00:00Z,\n"
                                     "Z-900,A2,p,f.gpx,-114.0,44.5,hot,,2026-08-14T06:00:00Z,\n")  # fmt: skip
    assert exchange("reconcile", "back.csv", *RECONCILE, "--manifest", "mine.csv").code == 0
    both = ("--manifest", "mine.csv", "--manifest", "other.csv", "--overwrite")
    assert exchange("reconcile", "back.csv", *RECONCILE, *both).code == 2


@pytest.mark.skipif(sys.platform != "linux", reason="only here may a name hold any bytes")
def test_a_name_that_is_not_in_utf_8_goes_through(exchange: Run, folder: Path) -> None:
    """Words, report and data show a mark for what no text can hold, in every command that reads."""
    shown = "back\ufffd.csv"
    report = json.loads(exchange("inspect", BAD_NAME, "--json").out)
    assert shown in json.dumps(report, ensure_ascii=False)
    done = exchange("reconcile", BAD_NAME, *RECONCILE, "--json")
    assert (done.code, json.loads(done.out)["files"]) == (0, [shown])
    assert read("x.geojson").notes.origin.tolist() == [shown]


@pytest.mark.skipif(sys.platform != "linux", reason="only here may a name hold any bytes")
def test_a_ledger_takes_names_that_are_not_in_utf_8(exchange: Run) -> None:
    """The names of its sources are kept with a mark, and so is the command line in its log."""
    for command in (("start", "fire.gpkg"), ("add", "fire.gpkg", BAD_NAME), ("check", "fire.gpkg")):
        done = exchange("ledger", *command)
        assert done.code == 0, done.err
    shown = exchange("ledger", "show", "fire.gpkg", "--json").out
    assert "back\\ufffd.csv" in json.dumps(json.loads(shown))


@pytest.mark.parametrize(
    "command",
    [
        ("convert", "sortie.csv", "-o", "fire.gpkg"),
        ("merge", "sortie.csv", "-o", "fire.gpkg"),
        ("merge", "sortie.csv", "-o", "list.geojson", "--sightings", "fire.gpkg"),
        ("reconcile", "back.csv", "--onto", "list.csv", "-o", "fire.gpkg"),
        ("perimeter", "track.gpx", "-o", "fire.gpkg"),
        ("ledger", "export", "fire.gpkg", "-o", "fire.gpkg"),
    ],
    ids=lambda command: " ".join(command[:2]),
)
def test_a_ledger_is_never_replaced(
    command: tuple[str, ...], exchange: Run, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With --overwrite too, no command writes its output onto the incident's record."""
    monkeypatch.delenv("EXCHANGE_PLUGINS")
    (folder / "sortie.csv").write_text(SORTIE, encoding="utf-8")
    assert exchange("ledger", "start", "fire.gpkg").code == 0
    before = (folder / "fire.gpkg").read_bytes()
    done = exchange(*command, "--overwrite")
    assert (done.code, "fire.gpkg: is a ledger, which is never replaced" in done.err) == (1, True), done.err
    assert (folder / "fire.gpkg").read_bytes() == before
    assert not (folder / "list.geojson").exists()


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs a device that is always full")
def test_a_full_disk_is_no_fault_of_the_program() -> None:
    """Data that standard output cannot take ends with 1 and says why."""
    command = [sys.executable, "-c", "from exchange.cli.main import main; main()", "convert", "list.csv"]
    with Path("/dev/full").open("wb") as full:
        done = subprocess.run(  # noqa: S603
            [*command, "-o", "-", "--to", "csv"], stdout=full, stderr=subprocess.PIPE, text=True, check=False
        )
    assert (done.returncode, "No space left on device" in done.stderr) == (1, True)
    assert "fault of this program" not in done.stderr


@pytest.mark.parametrize("how", [signal.SIGINT, signal.SIGTERM])
def test_being_stopped_leaves_nothing_half_written(how: signal.Signals, folder: Path) -> None:
    """Ctrl-C and an order to end, when all is written but the move into place, leave no file."""
    before = _names(folder)
    command = [sys.executable, "-c", _SLOW, "convert", "list.csv", "-o", "x.csv"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as child:  # noqa: S603
        assert child.stdout is not None
        assert child.stdout.readline() == "writing\n"
        assert len(_names(folder) - before) == 1
        child.send_signal(how)
        _, words = child.communicate(timeout=60)
    assert (child.returncode, words.splitlines()[-1]) == (1, "exchange: stopped")
    assert _names(folder) == before


def test_being_stopped_during_the_imports_takes_one_line() -> None:
    """The console script shows no traceback where Ctrl-C comes before the command line is there."""
    project = tomllib.loads((Path(__file__).parents[2] / "pyproject.toml").read_text(encoding="utf-8"))
    assert project["project"]["scripts"] == {"exchange": "exchange.cli.start:main"}
    command = [sys.executable, "-c", _STOPPED_AT_IMPORT]
    done = subprocess.run(command, capture_output=True, text=True, check=False)  # noqa: S603
    assert (done.returncode, done.stdout, done.stderr) == (1, "", "exchange: stopped\n")


def _names(folder: Path) -> set[str]:
    return {path.name for path in folder.iterdir()}


_STOPPED_AT_IMPORT = """
import os, signal, sys
signal.signal(signal.SIGINT, signal.default_int_handler)
class Stop:
    def find_spec(self, name, path=None, target=None):
        if name == "click":
            os.kill(os.getpid(), signal.SIGINT)
sys.meta_path.insert(0, Stop())
from exchange.cli.start import main
main()
"""
_SLOW = """
import signal, sys, time
signal.signal(signal.SIGINT, signal.default_int_handler)
import exchange.formats.writing as writing
from exchange.cli.main import main
def linger(folder, target):
    print("writing", flush=True)
    time.sleep(50)
writing._move_into_place = linger
main(sys.argv[1:])
"""
