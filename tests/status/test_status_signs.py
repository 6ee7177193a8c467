from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from exchange.model import Detections, Packet, Sources, StatusNotes
from exchange.model.manifest import Manifest
from exchange.status import Placed, PlaceOptions, StatusWords, place_returns
from tests.status.fire import at, spots

LISTED = spots("H-001", "H-002", status=["unchecked", "hot"], note=["", "by the snag"], last_seen=at("05:00", "05:00"))


def _return(number: str = "H-001", layer: str = "", **columns: Any) -> Packet:
    extra = {name: [value] for name, value in columns.pop("extra", {}).items()}
    source = Sources.of("back.kml", layer, [1])
    return Packet(detections=Detections(name=[number], extra=extra, source=source, **columns))


def _only(placed: Placed) -> tuple[str, str]:
    """Return the status of the one report and the question it raises, or that there is no report."""
    if not len(placed.notes):
        return "silent", ""
    note = placed.notes.row(0)
    return note.status, note.extra.get("question", "")


@pytest.mark.parametrize(
    ("sign", "status"),
    [
        ({"layer": "Called out"}, "out"),
        ({"layer": "Crew 7/Still hot"}, "hot"),
        ({"layer": "Hot spots/Being worked"}, "working"),
        ({"layer": "Hot spots"}, "silent"),
        ({"layer": "Not checked yet"}, "silent"),
        ({"extra": {"sym": "green circle"}}, "out"),
        ({"extra": {"sym": "Flag, Red"}}, "hot"),
        ({"extra": {"sym": "diamond"}}, "recheck"),
        ({"extra": {"sym": "green triangle"}}, "out"),
        ({"extra": {"symbol": "roter Punkt"}}, "hot"),
        ({"extra": {"sym": "yellow circle"}}, "silent"),
        ({"extra": {"icon_color": "#009e73"}}, "out"),
        ({"extra": {"icon_color": "#fe0000ff"}}, "hot"),
        ({"extra": {"marker-color": "orange"}}, "working"),
        ({"extra": {"icon_color": "#ffffff"}}, "silent"),
        ({"extra": {"Out": "x"}}, "out"),
        ({"extra": {"Out": "✓", "Hot": ""}}, "out"),
        ({"extra": {"Look again": True}}, "recheck"),
        ({"extra": {"Working": 1}}, "working"),
        ({"extra": {"Gelöscht": "ja"}}, "out"),
        ({"extra": {"Out": "no"}}, "silent"),
        ({"extra": {"Out": 0}}, "silent"),
        ({"extra": {"Heat": 79.5}}, "silent"),
        ({"extra": {"cmt": "no heat found"}}, "no heat"),
        ({"extra": {"Bemerkung": "raucht noch"}}, "hot"),
        ({"extra": {"status_text": "mopped up"}}, "out"),
        ({"status": "working"}, "working"),
        ({"note": "not out"}, "recheck"),
        ({"number": "H-001 HOT"}, "hot"),
        ({"number": "H-001 79 °C"}, "silent"),
        ({}, "silent"),
    ],
)
def test_each_kind_of_sign_is_read(sign: dict[str, Any], status: str) -> None:
    """Folder, symbol, colour, tick, comment, status column and name each say a status, or nothing."""
    assert _only(place_returns(_return(**sign), LISTED))[0] == status


@pytest.mark.parametrize(
    "sign",
    [{"layer": "hot"}, {"extra": {"sym": "red triangle"}}, {"extra": {"icon_color": "#D55E00"}}, {"status": "hot"},
     {"note": "by the snag"}, {"time": at("05:00")}, {"layer": "hot", "extra": {"sym": "red triangle"}}],
)  # fmt: skip
def test_what_comes_back_as_it_was_handed_out_says_nothing(sign: dict[str, Any]) -> None:
    """A mark of a hot spot left in its folder, symbol, colour, status and note is no report."""
    placed = place_returns(_return("H-002", **sign), LISTED)
    assert (len(placed.notes), placed.silent, len(placed.questions())) == (0, 1, 0)


def test_the_same_sign_with_a_time_of_its_own_says_heat_again_but_never_out() -> None:
    """Who marks a hot spot hot at a later time confirms it; a mark handed out as out confirms nothing."""
    later = {"time": at("15:00"), "extra": {"sym": "red triangle"}}
    assert _only(place_returns(_return("H-002", **later), LISTED)) == ("hot", "")
    was_out = LISTED.replace(status=["out", "out"])
    assert _only(place_returns(_return("H-002", time=at("15:00"), layer="out"), was_out)) == ("silent", "")


def test_a_shape_counts_where_the_colour_says_nothing_new() -> None:
    """A red cross on a spot handed out as a red triangle has a new shape; on another spot its colour speaks."""
    cross = {"extra": {"sym": "red cross"}}
    assert _only(place_returns(_return("H-002", **cross), LISTED))[0] == "out"
    assert _only(place_returns(_return("H-001", **cross), LISTED))[0] == "hot"


def test_the_manifests_status_is_the_one_handed_out() -> None:
    """A mark that was handed out as working says nothing in that folder, whatever the list says now."""
    manifest = Manifest(number=["H-002"], short_name=["A2"], status=["working"], handed_out=at("06:00"))
    assert _only(place_returns(_return("A2", "working"), LISTED, manifests=manifest))[0] == "silent"
    assert _only(place_returns(_return("A2", "hot"), LISTED, manifests=manifest))[0] == "hot"


def test_a_time_that_was_handed_out_is_no_time_of_a_report() -> None:
    """The time a mark left with says nothing of when the report was made."""
    manifest = Manifest(number=["H-001"], short_name=["A1"], handed_out=at("06:00"))
    for time in ("05:00", "06:00"):
        note = place_returns(_return("A1", "out", time=at(time)), LISTED, manifests=manifest).notes.row(0)
        assert (note.status, note.time) == ("out", None)
        assert note.extra["not_before"] == at("06:00")[0].item().replace(tzinfo=note.extra["not_before"].tzinfo)


def test_signs_that_disagree_give_the_more_cautious_word() -> None:
    """A green mark with the comment 'still smoking' is hot, and a person is asked."""
    placed = place_returns(_return(note="still smoking", extra={"sym": "green circle"}), LISTED)
    assert _only(placed) == ("hot", "unclear")
    assert placed.unclear.words.tolist() == ["says 'hot' and 'out'; 'hot', the more cautious, is entered"]


def test_out_that_nobody_felt_is_asked() -> None:
    """A green mark with the comment 'not felt' stays unchecked, and a person is asked."""
    placed = place_returns(_return(note="no smoke, not felt", extra={"sym": "green circle"}), LISTED)
    assert _only(placed) == ("unchecked", "unclear")


def test_words_that_call_a_spot_cold_and_out_agree() -> None:
    """Who ticks 'out' and writes 'cold to the touch' says out."""
    assert _only(place_returns(_return(note="cold to the touch", extra={"Out": "x"}), LISTED)) == ("out", "")


def test_negated_heat_beside_out_is_asked() -> None:
    """A comment that holds a word of heat under a negation nobody foresaw is told, where the mark says out."""
    placed = place_returns(_return(note="couldn't see any smoke", layer="Out"), LISTED)
    assert _only(placed) == ("out", "unclear")
    assert placed.unclear.words.tolist() == ["says 'out', and its words may mean 'hot'"]


def test_words_that_only_may_mean_a_status_enter_none() -> None:
    """'Almost out' is kept, enters no status, and is told."""
    placed = place_returns(_return(note="almost out"), LISTED)
    assert _only(placed) == ("", "unclear")
    assert placed.unclear.words.tolist() == ["its words may mean 'out'; no status is entered"]


@pytest.mark.parametrize(
    ("sign", "words"),
    [
        ({"extra": {"sym": "Scenic Area"}}, "the symbol 'Scenic Area' has no known meaning"),
        ({"extra": {"icon_color": "#8b4513"}}, "the colour '#8b4513' has no known meaning"),
        ({"extra": {"Out": "maybe"}}, "the column Out 'maybe' has no known meaning"),
        ({"status": "kaputt"}, "the status 'kaputt' has no known meaning"),
        ({"layer": "Ridge"}, "the folder 'Ridge' has no known meaning"),
        ({"note": "needs water"}, "the comment 'needs water' has no known meaning"),
        ({"number": "H-001 kaputt"}, "the name 'KAPUTT' has no known meaning"),
    ],
)
def test_what_nothing_tells_the_meaning_of_is_listed(sign: dict[str, Any], words: str) -> None:
    """An unknown symbol, colour, tick, word, folder or comment is told once and guessed never."""
    placed = place_returns(_return(**sign), LISTED)
    assert placed.unknown.words.tolist() == [words]
    assert _only(placed)[0] in ("", "silent")


def test_an_unknown_sign_is_told_once_with_its_count() -> None:
    """A thousand marks with one unknown symbol raise one question, which names the first."""
    names = [f"H-{k:03d}" for k in range(1, 1001)]
    marks = Detections(name=names, extra={"sym": ["Anchor"] * 1000}, source=Sources.of("a.gpx", "", np.arange(1, 1001)))
    unknown = place_returns(Packet(detections=marks), spots(*names)).unknown
    assert unknown.words.tolist() == ["the symbol 'Anchor' has no known meaning (1000 times, this is the first)"]
    assert unknown.source.record.tolist() == [1]


def test_a_known_sign_spares_the_comment_and_the_folder() -> None:
    """Where one sign says the status, free text and folders around it are not asked about."""
    placed = place_returns(_return(note="by the big snag", layer="Ridge", extra={"Out": "x"}), LISTED)
    assert (_only(placed), len(placed.unknown)) == (("out", ""), 0)


def test_the_users_words_are_read() -> None:
    """A table of the user's own gives meaning to what was unknown."""
    words = StatusWords.shipped().overlaid_with(StatusWords.from_toml('[text.out]\nours = ["scenic area"]'))
    assert _only(place_returns(_return(extra={"sym": "Scenic Area"}), LISTED, words=words))[0] == "out"


def test_a_stated_time_is_entered_where_a_report_has_none() -> None:
    """What the caller states of undated reports counts for those only."""
    options = PlaceOptions(observed=at("18:00")[0])
    assert place_returns(_return(layer="Out"), LISTED, options=options).notes.time.tolist() == at("18:00").tolist()
    dated = _return(layer="Out", time=at("15:00"))
    assert place_returns(dated, LISTED, options=options).notes.time.tolist() == at("15:00").tolist()


def test_a_report_from_the_future_has_a_wrong_clock() -> None:
    """A report dated after it came in loses its time, keeps it as given, and is told."""
    placed = place_returns(
        _return(layer="Out", time=at("19:00")), LISTED, options=PlaceOptions(received=at("18:00")[0])
    )
    note = placed.notes.row(0)
    assert (note.time, note.extra["question"]) == (None, "clock")
    assert note.extra["time_as_given"].hour == 19
    assert placed.clocks.words.tolist() == [
        "is dated 2026-08-14T19:00:00.000Z, after it came in; its time is taken as missing"
    ]


def test_a_measured_temperature_is_news() -> None:
    """A sheet that only measures is kept as a report without a status."""
    sheet = Packet(notes=StatusNotes(detection=["H-001"], temperature=[55.0]))
    placed = place_returns(sheet, LISTED)
    assert (placed.notes.status.tolist(), placed.notes.temperature.tolist()) == ([""], [55.0])


def test_own_notes_keep_their_word() -> None:
    """Notes that were read once come back as they are, whatever their text would say now."""
    first = place_returns(_return(note="was hot", extra={"Out": "x"}), LISTED).notes
    again = place_returns(Packet(notes=first), LISTED).notes
    assert again.status.tolist() == first.status.tolist() == ["hot"]
    assert again.extra["returned_signs"].tolist() == first.extra["returned_signs"].tolist()
