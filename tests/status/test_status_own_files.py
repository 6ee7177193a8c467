"""Files that our own writers wrote, changed as people change them, come home as reports."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import pytest

from exchange.formats.reading import read
from exchange.formats.writing import write
from exchange.model import Packet
from exchange.status import place_returns
from tests.status.fire import at, host, spots

LISTED = spots(
    "H-001",
    "H-002",
    "H-003",
    status=["unchecked", "hot", "out"],
    note=["", "by the snag", ""],
    time=at("05:00", "05:01", "05:02"),
    last_seen=at("05:00", "05:01", "05:02"),
    temperature=[80.0, 90.0, 100.0],
)
_OWN = re.compile("<extensions>.*?</extensions>", re.S)
_GREEN = "<IconStyle><color>ff00ff00</color></IconStyle>"
Edit = Callable[[str], str]


def _move(text: str) -> str:
    pin = text[text.index("<Placemark><name>H-001<") : text.index("</Placemark>") + len("</Placemark>")]
    return text.replace(pin, "").replace("<name>out</name>", f"<name>out</name>{pin}")


def _move_to_new_folder(text: str) -> str:
    pin = text[text.index("<Placemark><name>H-001<") : text.index("</Placemark>") + len("</Placemark>")]
    own = '<Folder id="exchange-folder-detection">'
    return text.replace(pin, "").replace(own, f"<Folder><name>Dead out</name>{pin}</Folder>{own}")


def _without_identifiers(text: str) -> str:
    return re.sub(r' id="exchange-(folder|status)[^"]*"', "", _move(text))


EDITS: dict[str, tuple[str, Edit]] = {
    "moved to another of our folders": ("kml", _move),
    "moved, and the folders lost their identifiers": ("kml", _without_identifiers),
    "moved to a folder of their own": ("kml", _move_to_new_folder),
    "another of our styles": ("kml", lambda text: text.replace("#exchange-style-unchecked<", "#exchange-style-out<")),
    "a colour of their own": (
        "kml",
        lambda text: text.replace(
            "<styleUrl>", "<Style><IconStyle><color>ff00ff00</color></IconStyle></Style><styleUrl>", 1
        ),
    ),
    "a word added to the name": ("kml", lambda text: text.replace("<name>H-001<", "<name>H-001 out<")),
    "a description": (
        "kml",
        lambda text: text.replace("<name>H-001</name>", "<name>H-001</name><description>out</description>"),
    ),
    "a word added to a waypoint": ("gpx", lambda text: text.replace("<name>H-001<", "<name>H-001 OUT<")),
    "a symbol": ("gpx", lambda text: text.replace("<name>H-001</name>", "<name>H-001</name><sym>green circle</sym>")),
    "a comment": ("gpx", lambda text: text.replace("<name>H-001</name>", "<name>H-001</name><cmt>out</cmt>")),
    "all of ours stripped, a comment": (
        "gpx",
        lambda text: re.sub("<extensions>.*?</extensions>", "", text, flags=re.S).replace(
            "</name>", "</name><cmt>out</cmt>", 1
        ),
    ),
    "the status in the table": ("csv", lambda text: text.replace("unchecked", "out")),
    "the status as a word of the trade": ("csv", lambda text: text.replace("unchecked", "mopped up")),
    "a note in the table": ("geojson", lambda text: text.replace('"note":null', '"note":"out"', 1)),
    "the status as a property": ("geojson", lambda text: text.replace('"unchecked"', '"out"')),
}

PICTURES_ALONE = ("a colour of their own", "a symbol", "another of our styles")


def _written(folder: Path, suffix: str) -> Path:
    path = folder / f"list.{suffix}"
    write(Packet(detections=LISTED), path, host=host())
    return path


@pytest.mark.parametrize("edit", EDITS)
def test_an_edit_comes_home_as_a_report(edit: str, tmp_path: Path) -> None:
    """The one mark that was changed is reported out, without a time of its own; the other two say nothing.

    Where nothing but a symbol or colour says so, it is to be confirmed.
    """
    suffix, change = EDITS[edit]
    path = _written(tmp_path, suffix)
    text = path.read_text(encoding="utf-8")
    path.write_text(change(text), encoding="utf-8")
    assert change(text) != text
    placed = place_returns(read(path, host=host()), LISTED)
    assert [(note.detection, note.status, note.time) for note in placed.notes] == [("H-001", "out", None)]
    asked = {"sign alone": 1} if edit in PICTURES_ALONE else {}
    assert (placed.silent, placed.questions().counts()) == (2, asked)


@pytest.mark.parametrize("suffix", ["kml", "kmz", "gpx", "csv", "geojson", "gpkg"])
def test_a_file_left_alone_says_nothing(suffix: str, tmp_path: Path) -> None:
    """A list that comes back as it was written holds no report."""
    placed = place_returns(read(_written(tmp_path, suffix), host=host()), LISTED)
    assert (len(placed.notes), placed.silent, len(placed.questions())) == (0, 3, 0)
