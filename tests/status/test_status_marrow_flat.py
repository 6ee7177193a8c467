from __future__ import annotations

import numpy as np
import pytest

from exchange.model import Detections, StatusNotes
from exchange.status import Placed, place_returns, settle_status
from tests.status.fire import RETURNS, read_list, read_return, read_truth

UNPLACED = ("unplaced", "unplaced without a position")
TRUTH = read_truth()


def _placed(name: str) -> Placed:
    return place_returns(read_return(name), read_list())


@pytest.mark.parametrize("name", RETURNS)
def test_each_report_is_what_its_crew_meant(name: str) -> None:
    """Spot, status and time of every report of the invented fire are those of the truth, and there is no other."""
    notes = _placed(name).notes
    expected = [
        ("" if report["kind"] in ("conflict", *UNPLACED) else report["number"], report["meant"], report["observed"])
        for report in TRUTH[name]
    ]
    times = [f"{time}Z" for time in np.datetime_as_string(notes.time, unit="s")]
    assert list(zip(notes.detection, notes.status, times, strict=True)) == expected


@pytest.mark.parametrize("name", RETURNS)
def test_what_a_person_must_look_at_is_what_went_wrong(name: str) -> None:
    """The conflict and the reports without a spot are told, with the record each stands in, and nothing else is."""
    placed = _placed(name)
    for questions, kinds in ((placed.conflicts, ("conflict",)), (placed.unplaced, UNPLACED)):
        records = [place for place, report in enumerate(TRUTH[name], 1) if report["kind"] in kinds]
        assert questions.source.record.tolist() == records
        assert set(questions.source.file.tolist()) <= {_placed(name).notes.source[0].file}
    assert len(placed.unclear) == len(placed.clocks) == len(placed.unknown) == 0


def test_pins_left_where_all_began_say_nothing() -> None:
    """The 98 pins that nobody dragged out of the first folder are no reports."""
    assert _placed("returns/office.kml").silent == 98


def _settle(sightings: Detections | None = None) -> dict[str, str]:
    notes = StatusNotes.join([_placed(name).notes for name in RETURNS])
    settled = settle_status(read_list(), notes, sightings=sightings)
    return dict(zip(settled.spots.id.tolist(), settled.spots.status.tolist(), strict=True))


def test_each_spot_has_the_status_that_was_meant() -> None:
    """Every reported spot has its reported status, the disputed one the more cautious, the others their own."""
    meant = {
        report["number"]: report["meant"]
        for name in RETURNS
        for report in TRUTH[name]
        if report["kind"] in ("status", "flares up later")
    }
    disputed = {report["number"] for name in RETURNS for report in TRUTH[name] if report["kind"] == "disagreement"}
    status = _settle()
    assert {number: status[number] for number in meant} == meant
    assert {status[number] for number in disputed} == {"hot"}
    assert {word for number, word in status.items() if number not in meant} == {"unchecked"}


def test_spots_that_flare_up_are_reopened_by_the_next_flight() -> None:
    """The two spots that were called out and seen hot in the evening are to be looked at again, and only they."""
    flared = [r["number"] for name in RETURNS for r in TRUTH[name] if r["kind"] == "flares up later"]
    evening = np.full(len(flared), np.datetime64("2026-08-15T03:12", "ms"))
    before, after = _settle(), _settle(Detections(id=flared, time=evening))
    assert {number for number in after if after[number] != before[number]} == set(flared)
    assert {after[number] for number in flared} == {"recheck"}
