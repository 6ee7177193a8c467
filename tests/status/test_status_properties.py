from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from exchange.model import Detections, Packet, Sources, StatusNotes
from exchange.model.status import OUT, STATUS_WORDS
from exchange.status import SettleOptions, add_notes, place_returns, settle_status
from tests.status.fire import at, spots

FEWER = settings(max_examples=40)
NUMBERS = [f"H-{count:03d}" for count in range(1, 9)]
LISTED = spots(*NUMBERS, status=["unchecked", "hot", "out", "working", "recheck", "no heat", "", "unchecked"])

TEXTS = st.one_of(
    st.sampled_from(
        ["", "out", "still hot", "not out", "no smoke", "cold", "=1+1", "@SUM(A1)", "🔥🔥", "גחלים", "خامد"]
    ),
    st.text(max_size=30),
)
NAMES = st.one_of(
    st.sampled_from([*NUMBERS, "H1", "h 2 out", "H-099", "snag", "H-001 H-002", ""]), st.text(max_size=12)
)
WORDS = st.sampled_from(STATUS_WORDS)
MINUTES = st.integers(min_value=0, max_value=24 * 60 - 1)


@st.composite
def marks(draw: st.DrawFn, file: str = "a.gpx") -> Packet:
    """Return marks with any names, words, signs, times and places near the list."""
    rows = draw(st.integers(min_value=0, max_value=8))
    column = lambda values: draw(st.lists(values, min_size=rows, max_size=rows))  # noqa: E731
    minutes = [minute if told else None for minute, told in zip(column(MINUTES), column(st.booleans()), strict=True)]
    return Packet(
        detections=Detections(
            name=column(NAMES),
            note=column(TEXTS),
            status=column(st.sampled_from(["", *STATUS_WORDS])),
            longitude=column(st.floats(-114.001, -113.99) | st.just(np.nan)),
            latitude=column(st.floats(44.4999, 44.5001)),
            time=_instants(minutes),
            extra={"sym": column(st.sampled_from(["", "green circle", "red flag", "anchor"]))},
            source=Sources.of(file, "waypoints", np.arange(1, rows + 1)),
        )
    )


@st.composite
def notes(draw: st.DrawFn) -> StatusNotes:
    """Return dated and undated notes on the spots of the list."""
    rows = draw(st.integers(min_value=0, max_value=12))
    column = lambda values: draw(st.lists(values, min_size=rows, max_size=rows))  # noqa: E731
    return StatusNotes(
        detection=column(st.sampled_from([*NUMBERS, "", "H-099"])),
        status=column(WORDS | st.just("")),
        time=_instants(column(MINUTES | st.none())),
        author=column(st.sampled_from(["", "Alder", "Juniper"])),
    )


def _instants(minutes: list[int | None]) -> np.ndarray[tuple[int], np.dtype[np.datetime64]]:
    day = np.datetime64("2026-08-14", "m")
    return np.array(
        [day + minute if minute is not None else np.datetime64("NaT") for minute in minutes], "datetime64[ms]"
    )


@FEWER
@given(packet=marks())
def test_no_row_is_lost(packet: Packet) -> None:
    """Every row is a report, says nothing new, or is a place; what is not applied is a conflict or unplaced."""
    placed = place_returns(packet, LISTED)
    assert len(placed.notes) + placed.silent + placed.aside == len(packet.detections)
    assert (placed.notes.detection == "").sum() == len(placed.conflicts) + len(placed.unplaced)


@FEWER
@given(packet=marks())
def test_placing_twice_is_the_same(packet: Packet) -> None:
    """The same return on the same list gives the same notes and questions, and adding it twice changes nothing."""
    first, second = (place_returns(packet, LISTED) for _ in range(2))
    assert first.notes == second.notes
    assert first.questions() == second.questions()
    assert add_notes(first.notes, second.notes) == first.notes


@FEWER
@given(first=marks("a.gpx"), second=marks("b.gpx"))
def test_the_order_of_files_changes_nothing(first: Packet, second: Packet) -> None:
    """Two returns give the same list, flags and words included, whichever is given first."""
    settled = []
    for order in ((first, second), (second, first)):
        placed = place_returns(Packet.join(order), LISTED)
        settled.append(settle_status(LISTED, placed.notes).spots)
    assert settled[0] == settled[1]


@FEWER
@given(first=marks("a.gpx"), second=marks("b.gpx"))
def test_files_one_by_one_give_what_they_give_together(first: Packet, second: Packet) -> None:
    """Adding returns in two runs keeps the reports that adding them in one keeps."""
    together = place_returns(Packet.join((first, second)), LISTED).notes
    known = place_returns(first, LISTED).notes
    one_by_one = add_notes(known, place_returns(second, LISTED).notes)
    assert len(one_by_one) == len(together)
    assert sorted(one_by_one.detection) == sorted(together.detection)


@FEWER
@given(reported=notes(), order=st.randoms())
def test_the_order_of_notes_changes_nothing(reported: StatusNotes, order: object) -> None:
    """A list settled from shuffled notes is the same list."""
    rows = list(range(len(reported)))
    order.shuffle(rows)  # type: ignore[attr-defined]
    assert settle_status(LISTED, reported.take(rows)).spots == settle_status(LISTED, reported).spots


@FEWER
@given(reported=notes())
def test_settling_twice_is_the_same(reported: StatusNotes) -> None:
    """A settled list settled again from the same notes stays as it is."""
    once = settle_status(LISTED, reported)
    twice = settle_status(once.spots, reported)
    assert twice.spots.status.tolist() == once.spots.status.tolist()
    assert twice.spots.extra.keys() == once.spots.extra.keys()


@FEWER
@given(reported=notes())
def test_out_is_a_persons_word(reported: StatusNotes) -> None:
    """No spot is out unless the list or a note on it says so."""
    settled = settle_status(LISTED, reported)
    for number, before, after in zip(LISTED.id, LISTED.status, settled.spots.status, strict=True):
        said = set(reported.status[reported.detection == number].tolist()) | {before}
        assert after != OUT or OUT in said


@FEWER
@given(reported=notes(), word=WORDS)
def test_the_latest_word_wins(reported: StatusNotes, word: str) -> None:
    """A word observed a day after all others, none of them undated, is the spot's status without dispute."""
    dated = reported.take(~np.isnat(reported.time))
    last = StatusNotes(detection=["H-001"], status=[word], time=np.array(["2026-08-16T00:00"], "datetime64[ms]"))
    settled = settle_status(LISTED, StatusNotes.join([last, dated]))
    assert settled.spots.status[0] == word
    assert "H-001" not in settled.disputed.number.tolist()


@FEWER
@given(reported=notes(), minutes=st.integers(0, 600))
def test_a_wider_span_is_never_less_cautious(reported: StatusNotes, minutes: int) -> None:
    """With a wider span each spot stands at the same word or at a more cautious one."""
    from exchange.status.settle import CAUTION

    narrow = settle_status(LISTED, reported, options=SettleOptions(same_time_minutes=0)).spots.status
    wide = settle_status(LISTED, reported, options=SettleOptions(same_time_minutes=minutes)).spots.status
    assert all(CAUTION.get(w, 9) <= CAUTION.get(n, 9) for n, w in zip(narrow, wide, strict=True))


@FEWER
@given(texts=st.lists(st.text(max_size=200), min_size=1, max_size=5))
def test_any_text_is_read_or_told(texts: list[str]) -> None:
    """No comment makes reading fail, and none without a status word is passed over."""
    packet = Packet(detections=Detections(name=["H-001"] * len(texts), note=texts))
    placed = place_returns(packet, LISTED)
    assert placed.notes.text.tolist() == [text for text in texts if text.strip()]


@pytest.mark.parametrize(
    "text",
    ["out " * 2500, "x" * 10_000, "no " * 5000 + "smoke", "🔥" * 5000, "\u202e" * 1000 + "out", "=HYPERLINK(\"x\")",
     "\x00out", "鎮火" * 3000, "!?" * 5000, "'" * 10_000, "H-001 " * 2000],
    ids=lambda text: repr(text[:8]),
)  # fmt: skip
def test_hostile_comments_are_kept_whole(text: str) -> None:
    """Comments of ten thousand letters, signs or formulas are read in no time to speak of, and kept as they came."""
    packet = Packet(detections=Detections(name=["H-001"], note=[text], source=Sources.of("a", "", [1])))
    placed = place_returns(packet, LISTED)
    assert placed.notes.text.tolist() == [text]
    assert all(len(words) < 200 for words in placed.questions().words.tolist())


@pytest.mark.parametrize(
    "name",
    [
        "H-001" * 2000,
        "H-001 H-002 " * 999,
        "=H-001",
        "H-" + "1" * 5000,
        "H-\u0660\u0661",
        "\u202eH-001",
        "🔥H-001🔥",
        "H-001\x00",
    ],
)
def test_hostile_names_find_a_spot_or_are_told(name: str) -> None:
    """A strange name is read as its number, or the report is kept and told; nothing fails."""
    packet = Packet(detections=Detections(name=[name], note="out", source=Sources.of("a", "", [1])))
    placed = place_returns(packet, LISTED)
    assert placed.notes.detection.tolist() in (["H-001"], [""])
    assert (placed.notes.detection.tolist() == [""]) is (len(placed.unplaced) + len(placed.conflicts) == 1)
    assert all(len(words) < 200 for words in placed.questions().words.tolist())


def test_one_name_twice_is_two_reports() -> None:
    """Two marks of one name in one file are both kept, and the later counts."""
    packet = Packet(detections=Detections(name=["H-001", "H-001"], note=["hot", "out"], time=at("10:00", "15:00")))
    placed = place_returns(packet, LISTED)
    assert placed.notes.status.tolist() == ["hot", "out"]
    assert settle_status(LISTED, placed.notes).spots.status[0] == "out"
