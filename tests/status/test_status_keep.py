from __future__ import annotations

import numpy as np
import pytest

from exchange.model import Detections, Packet, Sources, StatusNotes
from exchange.status import add_notes, place_returns
from tests.status.fire import RETURNS, at, read_list, read_return, spots


def _marks(*comments: str, name: str = "H-001", file: str = "a.gpx", **columns: object) -> Packet:
    source = Sources.of(file, "waypoints", np.arange(1, len(comments) + 1))
    return Packet(detections=Detections(name=[name] * len(comments), note=list(comments), source=source, **columns))


@pytest.mark.parametrize("name", RETURNS)
def test_the_same_file_twice_adds_nothing(name: str) -> None:
    """The returns of the invented fire, added again to what they gave, leave the notes as they are."""
    notes = place_returns(read_return(name), read_list()).notes
    assert add_notes(notes, notes) == notes
    assert len(add_notes(StatusNotes(), notes)) == len(add_notes(notes, StatusNotes())) == len(notes)


def test_the_same_report_is_known_in_another_folder() -> None:
    """A file that was moved since is the same file."""
    listed = spots("H-001")
    first = place_returns(_marks("out", file="today/a.gpx"), listed).notes
    assert len(add_notes(first, place_returns(_marks("out", file="a.gpx"), listed).notes)) == 1


def test_two_crews_who_say_the_same_are_two_reports() -> None:
    """Equal rows of two files, and equal rows of one, are all kept."""
    listed = spots("H-001")
    first = place_returns(_marks("out", "out", file="a.gpx"), listed).notes
    assert len(first) == 2
    assert len(add_notes(first, place_returns(_marks("out", file="b.gpx"), listed).notes)) == 3


def test_a_file_that_grew_adds_what_is_new() -> None:
    """A sheet that was filled in further and sent again adds its new rows only."""
    listed = spots("H-001")
    first = place_returns(_marks("hot"), listed).notes
    assert add_notes(first, place_returns(_marks("hot", "out"), listed).notes).text.tolist() == ["hot", "out"]


def test_a_changed_sign_is_a_new_report() -> None:
    """A mark whose symbol was changed since it came back first is another report, though all else is the same."""
    listed = spots("H-001")
    orange, green = (
        place_returns(_marks("", extra={"sym": [color]}), listed).notes for color in ("orange dot", "green dot")
    )
    assert add_notes(orange, green).status.tolist() == ["working", "out"]


def test_a_report_that_finds_its_spot_later_takes_the_place_of_the_unplaced_one() -> None:
    """A report kept without a spot is put to it once the list has it, and is not kept twice."""
    before = place_returns(_marks("out", name="H-002", time=at("15:00")), spots("H-001")).notes
    after = place_returns(_marks("out", name="H-002", time=at("15:00")), spots("H-001", "H-002")).notes
    assert (before.detection.tolist(), after.detection.tolist()) == ([""], ["H-002"])
    assert add_notes(before, after) == after
    assert add_notes(after, before) == after


def test_notes_from_elsewhere_are_known_again() -> None:
    """Notes that carry no file and no signs, returned in a file of the house, are not doubled."""
    notes = StatusNotes(detection=["H-001", "H-001"], status=["hot", "out"], time=at("10:00", "15:00"), author="Alder")
    back = notes.replace(source=Sources.of("list.kml", "", [1, 2]))
    returned = place_returns(Packet(notes=back), spots("H-001")).notes
    assert returned.status.tolist() == ["hot", "out"]
    assert add_notes(notes, returned) == notes
