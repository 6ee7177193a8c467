from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from exchange.errors import ModelError, OptionError
from exchange.model import Detections, Packet, Places, Sources, StatusNotes
from exchange.model.manifest import Manifest
from exchange.status import Placed, PlaceOptions, place_returns
from tests.status.fire import at, spots

METRE_EAST = 1 / 79_300.0
"""Degrees of longitude of a metre at 44.5 degrees north, good to a part in a thousand."""

LISTED = spots("H-014", "H-031", "H-1000", extra={"aliases": ["H-020; H-021", "", ""]})


def _marks(*names: str, metres: tuple[float, ...] = (), comment: Any = "out", **columns: Any) -> Packet:
    """Return marks with a comment at distances east of H-014; without any they have no place."""
    away = np.array(metres) if metres else np.full(len(names), np.nan)
    given = {"longitude": -114.0 + away * METRE_EAST, "latitude": np.where(np.isnan(away), np.nan, 44.5)}
    source = Sources.of("crew.gpx", "waypoints", np.arange(1, len(names) + 1))
    return Packet(detections=Detections(name=list(names), note=comment, source=source, **(given | columns)))


def _numbers(placed: Placed) -> list[str]:
    return placed.notes.detection.tolist()


def _words(placed: Placed) -> list[str]:
    return placed.notes.extra.get("question_words", np.array([""] * len(placed.notes), dtype=object)).tolist()


@pytest.mark.parametrize(
    "name",
    ["H-014", "H014", "h 14", "H14", "H-014 out", "H_014", "H.14", "H\u2013014", "\uff28\uff10\uff11\uff14", "h#14",
     "\u202bH-014\u202c", "H 0014", "done H-014", "H-014-2", "  h-014\t", "H-020", "h21"],
)  # fmt: skip
def test_a_number_is_known_in_many_spellings(name: str) -> None:
    """However a number is written, aliases included, its spot is found without a place."""
    assert _numbers(place_returns(_marks(name), LISTED)) == ["H-014"]


@pytest.mark.parametrize("name", ["14", "001", "XH014", "H014X", "2H014", "H1-004", "DP 14", "K-014", "014 H", "snag"])
def test_what_is_no_number_of_the_list_is_not_read_as_one(name: str) -> None:
    """A bare count, another series or a name that only holds the letters is no number: the report is unplaced."""
    placed = place_returns(_marks(name), LISTED)
    assert _numbers(placed) == [""]
    assert placed.unplaced.words.tolist() == ["has neither a number of the list nor a place"]


def test_a_bare_count_is_a_number_on_a_sheet_about_numbers() -> None:
    """In the number column of a sheet without places, 14 is H-014, as long as the list has one series."""
    sheet = Packet(notes=StatusNotes(detection=["14", "#31"], status="out", time=at("15:00", "15:00")))
    assert _numbers(place_returns(sheet, LISTED)) == ["H-014", "H-031"]
    assert _numbers(place_returns(sheet, spots("H-014", "K-014"))) == ["", ""]


def test_the_manifests_name_comes_first() -> None:
    """A short name that was handed out means its spot, even where it reads like another's number."""
    manifest = Manifest(number=["H-031", "H-014"], short_name=["H14", "Ridge 1"])
    placed = place_returns(_marks("H14", "h14 OUT", "RIDGE 1 out", "Ridge 10"), LISTED, manifests=manifest)
    assert _numbers(placed) == ["H-031", "H-031", "H-014", ""]


def test_a_manifest_older_than_a_merge_still_finds_the_spot() -> None:
    """A spot that was handed out under a number since folded into another is found by its alias."""
    manifest = Manifest(number=["H-020", "H-777"], short_name=["A7", "B8"], aliases=["", "H-031"])
    assert _numbers(place_returns(_marks("A7", "B8"), LISTED, manifests=manifest)) == ["H-014", "H-031"]


def test_a_handed_out_spot_that_the_list_lacks_is_not_put_elsewhere() -> None:
    """A short name of a spot that this list does not have is told by its number, whatever spot is near."""
    manifest = Manifest(number=["H-500"], short_name=["A7"])
    placed = place_returns(_marks("A7 out", metres=(1.0,)), LISTED, manifests=manifest)
    assert placed.unplaced.words.tolist() == ["names H-500, which the list does not have"]


def test_one_short_name_of_two_spots_is_a_conflict() -> None:
    """Where two devices had one short name for different spots, nobody but a person can tell which is meant."""
    manifest = Manifest(number=["H-031", "H-014"], short_name=["A1", "A1"], profile=["small", "large"])
    placed = place_returns(_marks("A1"), LISTED, manifests=manifest)
    assert placed.conflicts.words.tolist() == ["is named 'A1', which says H-014 and H-031"]
    assert _numbers(placed) == [""]


def test_two_numbers_in_one_name_are_a_conflict() -> None:
    """A name that reads to two spots, or two names of one record that do, is not applied."""
    placed = place_returns(_marks("H014 H031", "H-031", extra={"label": ["", "H-014 out"]}), LISTED)
    assert placed.conflicts.words.tolist() == [
        "is named 'H014 H031', which says H-014 and H-031",
        "is named 'H-031', which says H-014 and H-031",
    ]


def test_a_number_that_the_list_lacks_is_told_and_not_put_elsewhere() -> None:
    """H-099 beside H-014 is not taken for H-014: the name contradicts the place."""
    placed = place_returns(_marks("H-099", metres=(1.0,)), LISTED)
    assert placed.unplaced.words.tolist() == ["names H-099, which the list does not have"]


@pytest.mark.parametrize(
    ("metres", "number"), [(0.0, "H-014"), (14.0, "H-014"), (16.0, ""), (50.0, ""), (93.0, "H-031")]
)
def test_place_alone_decides_within_reach(metres: float, number: str) -> None:
    """A mark without a number is put to the one spot within reach, and to none beyond."""
    assert _numbers(place_returns(_marks("smoke", metres=(metres,)), LISTED)) == [number]


def test_two_spots_within_reach_are_left_to_a_person() -> None:
    """Between two spots nothing is guessed."""
    close = spots("H-001", "H-002", longitude=[-114.0, -114.0 + 6 * METRE_EAST])
    placed = place_returns(_marks("", metres=(3.0,)), close)
    assert placed.unplaced.words.tolist() == ["has no number, and 2 spots lie within 15 m"]
    assert _numbers(place_returns(_marks("", metres=(0.0,)), close, options=PlaceOptions(reach_m=5))) == ["H-001"]


@pytest.mark.parametrize(("metres", "is_applied"), [(5.0, True), (40.0, True), (60.0, False), (99.0, False)])
def test_a_mark_far_from_the_spot_it_names_is_a_conflict(metres: float, is_applied: bool) -> None:
    """A mark may stand beside its spot; at another spot, or far from its own, it is a conflict."""
    placed = place_returns(_marks("H-014", metres=(metres,)), LISTED)
    assert (_numbers(placed) == ["H-014"]) is is_applied
    assert len(placed.conflicts) == (0 if is_applied else 1)
    assert not any("nearest is H-014" in words for words in placed.conflicts.words)


def test_a_conflict_names_both_spots() -> None:
    """The words for a person name the spot that the name says and the one at the place."""
    placed = place_returns(_marks("H-014", metres=(99.0,)), LISTED)
    assert placed.conflicts.words.tolist() == ["names H-014 and stands 99 m from it; the nearest is H-031, 1 m away"]
    assert placed.conflicts.as_lines(9) == [
        "conflict: crew.gpx, layer waypoints, record 1: "
        "names H-014 and stands 99 m from it; the nearest is H-031, 1 m away"
    ]


def test_close_spots_are_told_apart_by_name() -> None:
    """Where two spots lie within reach of a mark, its name decides between them, if it is the nearer or not."""
    close = spots("H-001", "H-002", longitude=[-114.0, -114.0 + 6 * METRE_EAST])
    assert _numbers(place_returns(_marks("H-002", metres=(1.0,)), close)) == ["H-002"]


def test_a_spot_without_a_number_takes_no_report() -> None:
    """A report at an unnumbered spot cannot be applied, and says so."""
    placed = place_returns(_marks("", metres=(1.0,)), spots("", "H-031"))
    assert placed.unplaced.words.tolist() == ["stands at a spot that has no number in the list"]


def test_a_helispot_is_no_spot() -> None:
    """A place called H-14 far from the spot H-014 is set aside and counted; one that stands at the spot is a report."""
    there = {"name": ["H-14", "H-14"], "longitude": [-114.05, -114.0], "latitude": 44.5}
    places = Places(**there, kind="helispot", note="out", source=Sources.of("p.gpx", "", [1, 2]))
    placed = place_returns(Packet(places=places), LISTED.take([0]))
    assert (_numbers(placed), len(placed.conflicts)) == (["", "H-014"], 1)
    silent = place_returns(Packet(places=places.replace(note="")), LISTED.take([0]))
    assert (len(silent.notes), silent.aside, silent.silent) == (0, 1, 1)


def test_a_list_with_a_number_twice_is_refused() -> None:
    """Nothing can be put to a number that two spots carry."""
    with pytest.raises(ModelError, match="the list has the number 'H-014' twice"):
        place_returns(_marks("H-014"), spots("H-014", "H-014"))


def test_a_reach_of_nothing_is_refused() -> None:
    """The reach is a distance above zero."""
    with pytest.raises(OptionError, match="0 m is no reach"):
        PlaceOptions(reach_m=0.0)


def test_a_mark_on_the_far_side_of_the_earth_is_unplaced() -> None:
    """A place that no frame around the fire holds is nobody's, and no fault."""
    packet = Packet(detections=Detections(name="hot", longitude=[66.0], latitude=[-44.5]))
    assert len(place_returns(packet, LISTED).unplaced) == 1


def test_an_empty_list_places_nothing() -> None:
    """Without spots every report is kept and unplaced."""
    placed = place_returns(_marks("H-014", "smoke", metres=(0.0, 5.0)), Detections())
    assert (_numbers(placed), len(placed.unplaced)) == (["", ""], 2)


def test_a_list_without_places_is_found_by_number() -> None:
    """Where the list has no positions, names decide."""
    bare = Detections(id=["H-014"], status="hot")
    assert _numbers(place_returns(_marks("H14", "x", metres=(0.0, 5.0)), bare)) == ["H-014", ""]


def test_the_note_keeps_what_came() -> None:
    """Name, words, place, time, file, layer, record and the foreign fields travel with the note."""
    packet = _marks("H14 OUT", metres=(2.0,), comment="dug out", time=at("15:00"), extra={"ele": ["2100"]})
    note = place_returns(packet, LISTED, options=PlaceOptions(author="Alder")).notes.row(0)
    assert (note.detection, note.status, note.author, note.text) == ("H-014", "out", "Alder", "dug out")
    assert (note.longitude, note.latitude, note.origin) == (packet.detections.longitude[0], 44.5, "crew.gpx")
    assert (note.extra["returned_name"], note.extra["ele"]) == ("H14 OUT", "2100")
    assert str(note.source) == "crew.gpx, layer waypoints, record 1"
    assert _words(place_returns(packet, LISTED)) == [""]
