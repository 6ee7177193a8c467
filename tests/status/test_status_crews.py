"""A crew's handheld, from the file it was given to the list: no spot is out that nobody called out."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from lxml import etree

from exchange.formats.reading import read
from exchange.formats.writing import write
from exchange.model import Packet
from exchange.model.manifest import Manifest
from exchange.status import Placed, PlaceOptions, place_returns, settle_status
from tests.status.fire import at, host, spots

COUNT = 12
NUMBERS = [f"H-{count:03d}" for count in range(1, COUNT + 1)]
SHORT = [f"A{count}" for count in range(1, COUNT + 1)]
GIVEN = ["unchecked", "hot", "working"]
LISTED = spots(*NUMBERS, status=[GIVEN[k % 3] for k in range(COUNT)])
SYMBOLS = {"unchecked": "yellow circle", "hot": "red triangle", "working": "orange square"}
COMMENTS = [f"{word.upper()} 80C 30M INSIDE" for word in LISTED.status]
MANIFEST = Manifest(number=NUMBERS, short_name=SHORT, status=LISTED.status, comment=COMMENTS, handed_out=at("06:00")[0])

# What a person does to a mark: element, what it holds after ({} is what it held), and the status meant by it;
# empty is none, and then the spot keeps the status it was handed out with.
EDITS = [
    ("sym", "green circle", "out"),
    ("sym", "red flag", "hot"),
    ("sym", "anchor", ""),
    ("sym", "blue flag", ""),
    ("name", "{} OUT", "out"),
    ("name", "{} out?", ""),
    ("name", "{} no smoke", ""),
    ("name", "{} still hot", "hot"),
    ("cmt", "out", "out"),
    ("cmt", "{} DEAD OUT", "out"),
    ("cmt", "{}; not out", "recheck"),
    ("cmt", "{} out of water", ""),
    ("cmt", "{}. almost out", ""),
    ("cmt", "{} LOOK OUT SNAG", ""),
    ("cmt", "crew out at noon, back at 1400", ""),
    ("cmt", "=out()", ""),
    ("cmt", "{} fuma ancora", "hot"),
    ("cmt", "noch nicht gelöscht, raucht", "hot"),
    ("cmt", "{}, never out", ""),
    ("cmt", "{}", ""),
]


def _given_file(folder: Path) -> Path:
    """Write what the handheld was given: short names, symbols and comments, none of our own fields."""
    path = folder / "given.gpx"
    waypoints = [
        f'<wpt lat="{latitude}" lon="{longitude}">'
        f"<name>{name}</name><cmt>{comment}</cmt><sym>{SYMBOLS[status]}</sym></wpt>"
        for latitude, longitude, name, comment, status in zip(
            LISTED.latitude, LISTED.longitude, SHORT, COMMENTS, LISTED.status, strict=True
        )
    ]
    root = '<gpx xmlns="http://www.topografix.com/GPX/1/1" version="1.1" creator="invented">'
    path.write_text(f"{root}{''.join(waypoints)}</gpx>", encoding="utf-8")
    return path


def _edit(path: Path, edits: dict[int, tuple[str, str, str]]) -> None:
    tree = etree.parse(path)
    marks = tree.getroot().findall("{*}wpt")
    for row, (tag, text, _) in edits.items():
        element = marks[row].find(f"{{*}}{tag}")
        assert element is not None
        element.text = text.replace("{}", element.text or "")
    tree.write(path, encoding="utf-8", xml_declaration=True)


def _place(*paths: Path) -> Placed:
    options = PlaceOptions(observed=at("18:00")[0])
    return place_returns(read(paths, host=host()), LISTED, manifests=MANIFEST, options=options)


@settings(max_examples=25, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(edits=st.dictionaries(st.integers(0, COUNT - 1), st.sampled_from(EDITS), max_size=COUNT))
def test_each_mark_says_what_its_crew_meant(edits: dict[int, tuple[str, str, str]], tmp_path: Path) -> None:
    """Every mark means what was done to it, whatever else is in the file, and what was left alone says nothing."""
    path = _given_file(tmp_path)
    _edit(path, edits)
    placed = place_returns(
        read(path, host=host()), LISTED, manifests=MANIFEST, options=PlaceOptions(observed=at("18:00")[0])
    )
    settled = settle_status(LISTED, placed.notes)
    expected = [edits[row][2] if row in edits and edits[row][2] else LISTED.status[row] for row in range(COUNT)]
    assert settled.spots.status.tolist() == expected
    assert {note.detection for note in placed.notes} <= {NUMBERS[row] for row in edits}


@pytest.mark.parametrize("edit", EDITS, ids=lambda edit: f"{edit[0]} {edit[1]}")
@pytest.mark.parametrize("row", range(3), ids=GIVEN)
def test_each_edit_on_each_status(edit: tuple[str, str, str], row: int, tmp_path: Path) -> None:
    """Each thing a person does means the same on a spot handed out unchecked, hot or being worked."""
    path = _given_file(tmp_path)
    _edit(path, {row: edit})
    placed = place_returns(
        read(path, host=host()), LISTED, manifests=MANIFEST, options=PlaceOptions(observed=at("18:00")[0])
    )
    status = settle_status(LISTED, placed.notes).spots.status
    assert status[row] == (edit[2] or LISTED.status[row])
    assert placed.silent >= COUNT - 1


def test_a_second_device_does_not_undo_the_first(tmp_path: Path) -> None:
    """Marks left alone on a second device say nothing against what the first reported."""
    first, second = tmp_path / "first", tmp_path / "second"
    for folder in (first, second):
        folder.mkdir()
        _given_file(folder)
    _edit(first / "given.gpx", {1: ("name", "{} OUT", "out")})
    notes = place_returns(
        read([first / "given.gpx", second / "given.gpx"], host=host()), LISTED, manifests=MANIFEST
    ).notes
    assert notes.detection.tolist() == ["H-002"]


def test_the_list_written_and_read_keeps_the_reports(tmp_path: Path) -> None:
    """Reports, questions and flags live through a file, so that the next run knows them."""
    path = _given_file(tmp_path)
    _edit(path, {0: ("name", "{} OUT", "out"), 1: ("cmt", "almost out", ""), 2: ("name", "H-999 out", "")})
    placed = place_returns(read(path, host=host()), LISTED, manifests=MANIFEST)
    settled = settle_status(LISTED, placed.notes)
    for suffix in ("geojson", "gpx", "kml", "csv"):
        target = tmp_path / f"list.{suffix}"
        write(Packet(detections=settled.spots, notes=placed.notes), target, host=host())
        back = read(target, host=host())
        again = settle_status(back.detections, back.notes).spots
        assert again.status.tolist() == settled.spots.status.tolist()
        assert (
            back.notes.extra["question"].tolist()
            == placed.notes.extra["question"].tolist()
            == ["", "unclear", "unplaced"]
        )
