from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from exchange.model import Detections, Packet, Places, Sources, StatusNotes
from exchange.model.manifest import Manifest
from exchange.status import Placed, PlaceOptions, place_returns, settle_status
from tests.status.fire import at, spots

NUMBERS = [f"H-{count:03d}" for count in range(1, 21)]
LISTED = spots(*NUMBERS, last_seen=at(*["05:00"] * 20))
GREEN = "green circle"


def _marks(symbols: list[str], file: str = "back.gpx", **columns: Any) -> Packet:
    """Return one mark for each of the first spots, with its symbol."""
    columns.setdefault("name", NUMBERS[: len(symbols)])
    source = Sources.of(file, "waypoints", np.arange(1, len(symbols) + 1))
    return Packet(detections=Detections(extra={"sym": symbols}, source=source, **columns))


def _counts(placed: Placed) -> tuple[list[str], dict[str, int]]:
    return placed.notes.status.tolist(), placed.questions().counts()


@pytest.mark.parametrize(
    ("green", "other", "is_doubted"), [(4, 0, False), (5, 0, True), (20, 0, True), (10, 5, False), (11, 5, True)]
)
def test_a_symbol_on_nearly_all_marks_may_be_the_devices(green: int, other: int, is_doubted: bool) -> None:
    """Green on five marks at least and on more than two thirds calls nothing out; on fewer each is asked about."""
    placed = place_returns(_marks([GREEN] * green + [""] * other), LISTED)
    if is_doubted:
        assert _counts(placed) == ([], {"device": 1})
        assert placed.silent == green + other
    else:
        assert _counts(placed) == (["out"] * green, {"sign alone": green})


def test_the_question_names_file_count_sign_and_remedy() -> None:
    """It is told once, at the first mark that carries the sign."""
    (question,) = place_returns(_marks([GREEN] * 12), LISTED).questions()
    assert (question.number, question.value, question.source.file, question.source.record) == ("", GREEN, "back.gpx", 1)
    assert question.words == (
        "all 12 marks of this file carry the symbol 'green circle', which may be the device's own: by itself it is not "
        "taken for 'out'; reconcile this file by itself with --signs-meant if it is the crew's"
    )
    (part,) = place_returns(_marks([GREEN] * 12 + ["", "red flag"]), LISTED).devices
    assert part.words.startswith("12 of 14 marks of this file carry")


def test_a_word_counts_though_its_sign_does_not() -> None:
    """Comment, name, folder and tick call out what they speak of; the green marks beside them stay as they were."""
    marks = _marks([GREEN] * 12, note=["out", *[""] * 11], name=[NUMBERS[0], "H-002 OUT", *NUMBERS[2:12]]).detections
    marks = marks.replace(extra={**marks.extra, "Out": [*[""] * 2, "x", *[""] * 9]})
    placed = place_returns(Packet(detections=marks), LISTED)
    assert placed.notes.detection.tolist() == NUMBERS[:3]
    assert _counts(placed) == (["out"] * 3, {"device": 1})
    assert placed.silent == 9


def test_words_on_all_of_them_leave_nothing_to_ask() -> None:
    """A crew that calls all its spots out in words is taken at its word."""
    assert _counts(place_returns(_marks([GREEN] * 12, note=["it is out"] * 12), LISTED)) == (["out"] * 12, {})
    assert _counts(place_returns(_marks([GREEN] * 12, note=["cold"] * 12), LISTED))[1] == {"device": 1}


def test_a_word_of_heat_stands_against_the_devices_green() -> None:
    """A comment of heat on a mark of a green device is no contradiction."""
    placed = place_returns(_marks([GREEN] * 12, note=["still hot", *[""] * 11]), LISTED)
    assert _counts(placed) == (["hot"], {"device": 1})


def test_who_left_others_as_they_were_has_made_a_choice() -> None:
    """Six green marks beside six of the same status that came back as they were handed out are six reports."""
    placed = place_returns(_marks([GREEN] * 6 + ["yellow circle"] * 6), LISTED)
    assert _counts(placed) == (["out"] * 6, {"sign alone": 6})


def test_a_device_that_keeps_some_symbols_is_seen_through() -> None:
    """Where all marks of one handed-out status turned green and those of another kept their red, green says nothing."""
    listed = LISTED.replace(status=["unchecked"] * 6 + ["hot"] * 14)
    placed = place_returns(_marks([GREEN] * 6 + ["red triangle"] * 14), listed)
    assert _counts(placed) == ([], {"device": 1})


def test_few_marks_of_each_status_are_counted_together() -> None:
    """A device that turns all marks green is seen through though no status has five of them."""
    listed = LISTED.replace(status=["unchecked", "hot", "working"] * 6 + ["hot"] * 2)
    placed = place_returns(_marks([GREEN] * 9), listed)
    assert _counts(placed) == ([], {"device": 1})


def test_marks_that_the_device_made_are_looked_at_by_themselves() -> None:
    """Six new green marks at spots are no reports though fourteen imported ones kept their symbols."""
    new = _marks([GREEN] * 6, name=[""] * 6, longitude=LISTED.longitude[:6], latitude=LISTED.latitude[:6])
    kept = _marks(["yellow circle"] * 14, name=NUMBERS[6:])
    placed = place_returns(Packet.join([new, kept]), LISTED)
    assert _counts(placed) == ([], {"device": 1})


def test_each_file_stands_for_itself() -> None:
    """A green device does not silence another, and a file's few are not added to another's."""
    both = Packet.join([_marks([GREEN] * 12), _marks([GREEN, ""], "other.gpx", name=NUMBERS[12:14])])
    placed = place_returns(both, LISTED)
    assert placed.notes.detection.tolist() == ["H-013"]
    assert placed.devices.source.file.tolist() == ["back.gpx"]
    halves = Packet.join([_marks([GREEN] * 3), _marks([GREEN] * 3, "other.gpx", name=NUMBERS[3:6])])
    assert _counts(place_returns(halves, LISTED)) == (["out"] * 6, {"sign alone": 6})


def test_the_shape_does_not_speak_where_its_colour_is_silenced() -> None:
    """A device's green cross says out neither by its colour nor by its shape, and is told once."""
    assert _counts(place_returns(_marks(["green cross"] * 12), LISTED)) == ([], {"device": 1})


def test_colours_and_heat_are_held_to_the_same() -> None:
    """A pin colour on all marks is no report, nor is a red one."""
    for color in ("#009e73", "#ff0000"):
        marks = _marks([""] * 12).detections.replace(extra={"icon_color": [color] * 12})
        assert _counts(place_returns(Packet(detections=marks), LISTED)) == ([], {"device": 1})


def test_a_mark_that_finds_no_spot_is_not_called_out_either() -> None:
    """A new mark far from all spots is kept and told, and the device's green is no word on it."""
    far = _marks([GREEN], name=["SNAG"], longitude=[-114.2], latitude=[44.5])
    placed = place_returns(Packet.join([_marks([GREEN] * 12), far]), LISTED)
    assert _counts(placed) == ([""], {"unplaced": 1, "device": 1})


def test_helispots_are_not_counted() -> None:
    """Green symbols on places that are no spots do not make four green marks a device's habit."""
    source = Sources.of("back.gpx", "waypoints", np.arange(5, 25))
    places = Places(name=["HELISPOT"] * 20, symbol=[GREEN] * 20, longitude=-114.3, latitude=44.6, source=source)
    placed = place_returns(_marks([GREEN] * 4).replace(places=places), LISTED)
    assert _counts(placed) == (["out"] * 4, {"sign alone": 4})


def test_the_crew_can_say_that_it_is_meant() -> None:
    """What is stated to be meant is applied, and each spot that no word calls out is still listed."""
    placed = place_returns(_marks([GREEN] * 12), LISTED, options=PlaceOptions(signs_are_meant=True))
    assert _counts(placed) == (["out"] * 12, {"sign alone": 12})
    (first, *_) = placed.signs_alone
    assert (first.number, first.words) == (
        "H-001",
        "is 'out' by its symbol 'green circle' alone, with no word; confirm it",
    )


@pytest.mark.parametrize("spread_seconds", [0, 59])
def test_a_time_on_nearly_all_marks_may_be_the_devices(spread_seconds: int) -> None:
    """Marks that were all saved within one minute are undated; what they say stands, and the time is kept as given."""
    time = at("18:00")[0] + np.linspace(0, spread_seconds * 1000, 12).astype("timedelta64[ms]")
    placed = place_returns(_marks([""] * 12, note=["out", "hot", *[""] * 10], time=time), LISTED)
    assert _counts(placed) == (["out", "hot"], {"device": 1})
    assert np.isnat(placed.notes.time).all()
    assert placed.notes.extra["time_as_given"].tolist() == time[:2].tolist()
    assert placed.devices.words[0].startswith(
        "all 12 marks of this file carry the time '2026-08-14T18:00Z', give or take a minute, which may be the device's"
    )
    meant = place_returns(
        _marks([""] * 12, note=["out"] * 12, time=time), LISTED, options=PlaceOptions(signs_are_meant=True)
    )
    assert meant.notes.time.tolist() == time.tolist()


def test_times_of_a_walk_are_the_crews() -> None:
    """Marks a minute and more apart carry times of their own."""
    time = at("18:00")[0] + np.arange(12) * np.timedelta64(61, "s")
    placed = place_returns(_marks([""] * 12, note=["out"] * 12, time=time), LISTED)
    assert (placed.notes.time.tolist(), placed.questions().counts()) == (time.tolist(), {})


def test_the_time_of_an_export_confirms_no_heat() -> None:
    """Hot marks that come back as they went out with one new time are no reports of heat; a time each are."""
    listed = LISTED.replace(status=["hot"] * 20)
    stamped = _marks(["red triangle"] * 12, time=at("18:00")[0])
    assert _counts(place_returns(stamped, listed)) == ([], {"device": 1})
    walked = _marks(["red triangle"] * 12, time=at("18:00")[0] + np.arange(12) * np.timedelta64(5, "m"))
    assert _counts(place_returns(walked, listed)) == (["hot"] * 12, {})


def test_a_stamp_on_marks_that_say_nothing_is_not_asked_about() -> None:
    """A file that nobody touched asks nothing, whatever time its export gave it."""
    assert _counts(place_returns(_marks(["yellow circle"] * 12, time=at("18:00")[0]), LISTED)) == ([], {})


def test_the_time_of_the_hand_out_is_known() -> None:
    """A time that the marks were handed out with is no device's, and raises no question."""
    manifest = Manifest(number=NUMBERS, short_name=NUMBERS, handed_out=at("06:00")[0])
    marks = _marks([""] * 12, note=["out", *[""] * 11], time=at("06:00")[0])
    placed = place_returns(marks, LISTED, manifests=manifest)
    assert (_counts(placed), np.isnat(placed.notes.time).all()) == ((["out"], {}), True)


def test_a_sheet_filled_in_at_one_time_keeps_it() -> None:
    """The rows of a sheet about numbered spots are a person's, their time too."""
    sheet = Packet(notes=StatusNotes(detection=NUMBERS, status="out", time=at("18:00")[0]))
    placed = place_returns(sheet, LISTED)
    assert (placed.questions().counts(), set(placed.notes.time.tolist())) == ({}, set(at("18:00").tolist()))


SYMBOLS = st.sampled_from([GREEN, "green flag", "red triangle", "yellow circle", "purple circle", "anchor", ""])


@settings(max_examples=60)
@given(symbols=st.lists(SYMBOLS, min_size=1, max_size=20), heat=st.booleans())
def test_no_spot_is_out_by_a_picture_alone_unasked(symbols: list[str], heat: bool) -> None:
    """Each spot that a symbol calls out is listed for a person, and one green on nearly all marks calls none out."""
    listed = LISTED.replace(status=["hot" if heat else "unchecked"] * 20)
    placed = place_returns(_marks(symbols), listed)
    status = settle_status(listed, placed.notes).spots.status
    out = [number for number, word in zip(NUMBERS, status, strict=True) if word in ("out", "recheck") and number]
    listed_for_person = set(placed.signs_alone.number.tolist())
    called_out = set(placed.notes.detection[placed.notes.status == "out"].tolist())
    assert called_out == listed_for_person <= set(out)
    if symbols.count(GREEN) >= 5 and symbols.count(GREEN) > len(symbols) * 2 / 3:
        green = {number for number, symbol in zip(NUMBERS, symbols, strict=False) if symbol == GREEN}
        assert not called_out & green
