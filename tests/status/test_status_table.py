"""The table of DEVELOPERS.md, "How the current status is found": one case a row."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations
from typing import Any

import numpy as np
import pytest

from exchange.model import Detections, StatusNotes
from exchange.model.priority import STATUS_ORDER
from exchange.status import SettleOptions, settle_status
from tests.status.fire import at, spots

Told = tuple[str, str]


@dataclass(frozen=True)
class Case:
    """One row: what was reported on H-001 as (word, time), when heat was seen, and what comes of it."""

    row: str
    notes: tuple[Told, ...]
    status: str
    flag: str = ""
    heat: str = ""
    extra: tuple[tuple[str, tuple[str, ...]], ...] = ()
    before: str = "unchecked"


CASES = [
    Case("one report counts", (("hot", "10:00"),), "hot"),
    Case("the latest observed counts", (("hot", "10:00"), ("working", "12:00"), ("out", "15:00")), "out"),
    Case("what came later but was observed earlier changes nothing", (("out", "15:00"), ("hot", "10:00")), "out"),
    Case("a later word may be the more cautious", (("out", "10:00"), ("hot", "15:00")), "hot"),
    Case("within the span the more cautious stands", (("hot", "15:00"), ("out", "15:05")), "hot", "disputed"),
    Case("so it does with the times the other way round", (("out", "15:00"), ("hot", "15:05")), "hot", "disputed"),
    Case("the end of the span belongs to it", (("recheck", "15:00"), ("out", "15:15")), "recheck", "disputed"),
    Case("beyond the span the latest counts", (("recheck", "15:00"), ("out", "15:15:00.001")), "out"),
    Case("who agree within the span do not dispute", (("out", "15:00"), ("out", "15:05")), "out"),
    Case("a word without a time is set against the latest", (("hot", ""), ("out", "15:00")), "hot", "disputed"),
    Case("a less cautious word without a time gives way", (("out", ""), ("working", "15:00")), "working", "disputed"),
    Case("words without times: the more cautious stands", (("out", ""), ("recheck", "")), "recheck", "disputed"),
    Case(
        "a word without a time that came in before the dated one was observed is older",
        (("hot", ""), ("out", "15:00")),
        "out",
        extra=(("received", ("14:00", "")),),
    ),
    Case(
        "a word without a time on a spot handed out after the dated one is newer",
        (("out", ""), ("hot", "09:00")),
        "out",
        extra=(("not_before", ("10:00", "")),),
    ),
    Case("heat seen after out reopens", (("out", "15:00"),), "recheck", "reopened", heat="20:00"),
    Case("heat seen after no heat reopens", (("no heat", "15:00"),), "recheck", "reopened", heat="20:00"),
    Case("heat seen before out does not", (("out", "15:00"),), "out", heat="05:00"),
    Case("heat seen within the span before out does", (("out", "15:00"),), "recheck", "reopened", heat="14:50"),
    Case("out again after the heat counts", (("out", "15:00"), ("out", "21:00")), "out", heat="20:00"),
    Case("heat seen after hot changes nothing", (("hot", "15:00"),), "hot", heat="20:00"),
    Case("heat seen after working changes nothing", (("working", "15:00"),), "working", heat="20:00"),
    Case("out without a time gives way to heat that may be later", (("out", ""),), "recheck", "reopened", heat="05:00"),
    Case(
        "out without a time on a spot handed out after the heat stands",
        (("out", ""),),
        "out",
        heat="05:00",
        extra=(("not_before", ("06:00",)),),
    ),
    Case("out without a time stands where no heat has a time", (("out", ""),), "out"),
    Case("without a report the spot keeps its status", (), "working", before="working", heat="20:00"),
    Case("out without a report stands while no newer heat is told", (), "out", before="out"),
    Case("out without a report gives way to newer heat", (), "recheck", "reopened", "20:00", before="out"),
    Case("a report without a status word changes nothing", (("", "15:00"),), "unchecked"),
    Case("heat alone never makes a word", (), "unchecked", heat="20:00"),
]


def _notes(case: Case) -> StatusNotes:
    words, times = zip(*case.notes, strict=True) if case.notes else ((), ())
    extra = {name: at(*values) for name, values in case.extra}
    return StatusNotes(detection=["H-001"] * len(words), status=list(words), time=at(*times), extra=extra)


def _settle(case: Case, notes: StatusNotes) -> Any:
    listed = spots(
        "H-001", "H-002", status=[case.before, "hot"], last_seen=at("04:00", "") if case.before == "out" else None
    )
    seen = Detections(id=["H-001"], time=at(case.heat)) if case.heat else None
    return settle_status(listed, notes, sightings=seen)


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.row)
def test_each_row_of_the_table_holds(case: Case) -> None:
    """The status, the flag and the question are what the row says; the other spot is left alone."""
    settled = _settle(case, _notes(case))
    assert settled.spots.status.tolist() == [case.status, "hot"]
    flags = settled.spots.extra.get("flag", np.array(["", ""], dtype=object))
    assert flags.tolist() == [case.flag, ""]
    assert settled.questions().kind.tolist() == ([case.flag] if case.flag else [])
    assert settled.questions().number.tolist() == (["H-001"] if case.flag else [])


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.row)
def test_the_order_in_which_reports_come_changes_nothing(case: Case) -> None:
    """Reports the other way round give the same list, flags and words included."""
    notes = _notes(case)
    turned = notes.take(np.arange(len(notes))[::-1])
    assert _settle(case, turned).spots == _settle(case, notes).spots


@pytest.mark.parametrize(("cautious", "other"), list(combinations(STATUS_ORDER, 2)))
def test_the_order_of_caution_is_stated(cautious: str, other: str) -> None:
    """Of two words of one time, the one earlier in the order stands: hot, recheck, working, unchecked, no heat, out."""
    assert STATUS_ORDER == ("hot", "recheck", "working", "unchecked", "no heat", "out")
    notes = StatusNotes(detection="H-001", status=[other, cautious], time=at("15:00", "15:00"))
    assert settle_status(spots("H-001"), notes).spots.status.tolist() == [cautious]


def test_the_span_is_stated_by_the_caller() -> None:
    """With a span of one minute, five minutes decide."""
    notes = StatusNotes(detection="H-001", status=["hot", "out"], time=at("15:00", "15:05"))
    settled = settle_status(spots("H-001"), notes, options=SettleOptions(same_time_minutes=1))
    assert (settled.spots.status.tolist(), len(settled.disputed)) == (["out"], 0)


def test_a_number_that_was_folded_into_another_still_counts() -> None:
    """A report on an alias is one on the spot that carries it."""
    listed = spots("H-001", "H-002", extra={"aliases": ["H-003; H-004", ""]})
    notes = StatusNotes(detection=["H-004"], status="out", time=at("15:00"))
    assert settle_status(listed, notes).spots.status.tolist() == ["out", "unchecked"]


def test_a_report_that_is_not_applied_changes_nothing() -> None:
    """A note with an empty number, or one that the list lacks, leaves every spot alone; the second is told."""
    notes = StatusNotes(detection=["", "H-099"], status="hot", time=at("15:00", "15:00"))
    settled = settle_status(spots("H-001"), notes)
    assert settled.spots.status.tolist() == ["unchecked"]
    assert settled.unplaced.words.tolist() == ["speaks of H-099, which the list does not have"]


def test_the_list_says_whose_word_stands_and_since_when() -> None:
    """Beside the status stand the time it was observed and who said it."""
    notes = StatusNotes(
        detection="H-001", status=["hot", "out"], time=at("10:00", "15:00"), author=["Alder", "Juniper"]
    )
    extra = settle_status(spots("H-001"), notes).spots.extra
    assert (extra["status_author"].tolist(), extra["status_time"].tolist()) == (["Juniper"], at("15:00").tolist())


def test_the_words_name_who_disagrees() -> None:
    """A dispute names each word, by whom or in which file, and when; a reopened spot names the heat."""
    notes = StatusNotes(
        detection="H-001",
        status=["hot", "out"],
        time=at("15:00", "15:05"),
        author=["Alder", ""],
        origin=["", "x/j.csv"],
    )
    settled = settle_status(spots("H-001"), notes)
    assert settled.disputed.words.tolist() == [
        "'hot' by Alder at 2026-08-14T15:00Z, 'out' in j.csv at 2026-08-14T15:05Z; 'hot', the more cautious, stands"
    ]
    reopened = settle_status(spots("H-001", last_seen=at("20:00")), notes.take([1])).reopened
    assert reopened.words.tolist() == [
        "'out' in j.csv at 2026-08-14T15:05Z, and heat was seen at 2026-08-14T20:00Z; "
        "it is 'recheck' until a person says otherwise"
    ]


def test_what_was_seen_cold_is_no_heat() -> None:
    """A sighting whose own status says that there was no heat reopens nothing."""
    notes = StatusNotes(detection="H-001", status=["out"], time=at("15:00"))
    seen = Detections(id=["H-001"], time=at("20:00"), status="no heat")
    assert settle_status(spots("H-001"), notes, sightings=seen).spots.status.tolist() == ["out"]
