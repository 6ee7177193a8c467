"""Put what came back to its spots: from the rows of any file to status notes, and to what a person must look at."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from exchange.formats.values import to_texts
from exchange.model import Detections, Packet, StatusNotes
from exchange.model.columns import TextColumn, TimeColumn
from exchange.model.manifest import Manifest
from exchange.model.status import OUT
from exchange.status.baseline import NEVER, Baseline, to_status_bits
from exchange.status.device import Device, find_device_signs, find_device_times, list_devices
from exchange.status.finding import SpotFinder
from exchange.status.options import PlaceOptions
from exchange.status.placed import Placed
from exchange.status.questions import (
    CLOCK,
    CONFLICT,
    SIGN_ALONE,
    UNCLEAR,
    UNKNOWN,
    UNPLACED,
    Questions,
    shorten,
)
from exchange.status.returned import RETURNED_SIGNS, Returned, gather_returned
from exchange.status.signs import BIT, COLD, HEAT, PICTURES, Bits, Sign, SignReader, most_cautious
from exchange.status.spot_names import SpotNames
from exchange.status.weighing import Weighed, read_words, weigh
from exchange.status.words import StatusWords

QUESTION, QUESTION_WORDS = "question", "question_words"
"""Foreign columns of a note: which kind of question it raises, and the sentence for a person."""

RETURNED_NAME, TIME_AS_GIVEN = "returned_name", "time_as_given"
NOT_BEFORE, RECEIVED = "not_before", "received"
"""Foreign columns of a note without a time: when the spot was handed out, and when the report came in."""

_CLOCK_SLACK = np.timedelta64(15, "m")


def place_returns(
    returned: Packet,
    spots: Detections,
    *,
    manifests: Manifest | None = None,
    words: StatusWords | None = None,
    options: PlaceOptions | None = None,
) -> Placed:
    """Find the spot and the status of everything that came back.

    A row finds its spot by the short name it was handed out under, then by number, aliases followed, then by place
    alone if exactly one spot is within reach. A row that says nothing new is no report: a mark left in the folder,
    symbol and colour it was handed out with, or one that only says ``unchecked``.

    Parameters
    ----------
    returned
        What was read from the returned files.
    spots
        The list as it stands, ``id`` the numbers; its status is the one handed out where no manifest says another.
    manifests
        What was handed out, all manifests joined.
    words
        What means which status; by default the shipped tables.
    options
        Reach, limits, and what the files do not say of themselves.

    Raises
    ------
    ModelError
        When the list has a number twice.
    """
    options = options or PlaceOptions()
    reader = SignReader(words or StatusWords.shipped(), options)
    finder = SpotFinder(spots, SpotNames(spots, manifests), options)
    baseline = Baseline.of(spots, manifests, finder.names)
    parts = [_Placing(rows, finder, reader, baseline, options) for rows in gather_returned(returned, reader)]
    return Placed.join([part.run() for part in parts])


class _Placing:
    """One table of returned rows on its way to notes."""

    def __init__(
        self, rows: Returned, finder: SpotFinder, reader: SignReader, baseline: Baseline, options: PlaceOptions
    ) -> None:
        self.rows, self.reader, self.baseline, self.options = rows, reader, baseline, options
        self.spots = finder.spots
        self.found = finder.find(rows)
        self.names = reader.read_texts("name", self.found.rest)
        self.comments = [self._read_comment(column) for column in rows.comments]

    def run(self) -> Placed:
        """Return the notes and questions of this table."""
        written = [self.names, *self.comments]
        words = read_words(self.rows, written)
        signs, stamps = self._silence_signs(words), self._find_stamps()
        is_late, is_stamped = self._is_late(), np.logical_or.reduce([self._nowhere, *(each.rows for each in stamps)])
        time = np.where(is_late | is_stamped, NEVER, self.rows.time)
        has_time = self._has_own_time(time)
        weighed = weigh(self.rows, written, self._handed_out_bits(), has_time)
        comments = self._join_comments()
        has_news = (weighed.bits != 0) | (comments != "") | self._has_temperature(has_time) | self._is_strange()
        is_aside = self._is_aside(weighed.bits)
        is_report = has_news & ~is_aside
        is_alone = is_report & (self.found.spot >= 0) & (weighed.bits == BIT[OUT]) & (words & COLD == 0)
        notes = self._to_notes(weighed.bits, np.where(has_time, time, NEVER), comments, is_late | is_stamped)
        asked = {
            "conflicts": self._ask(CONFLICT, is_report & (self.found.kind == CONFLICT), self.found.words),
            "unplaced": self._ask(UNPLACED, is_report & (self.found.kind == UNPLACED), self.found.words),
            "unclear": self._ask(UNCLEAR, is_report & weighed.is_unclear, weighed.words),
            "signs_alone": self._ask(SIGN_ALONE, is_alone, self._tell_alone(is_alone)),
            "clocks": self._ask(CLOCK, is_report & is_late, self._tell_clock(is_late)),
        }
        stamps = [stamp for stamp in stamps if self._matters(stamp, is_report)]
        return Placed(
            notes=_mark(notes, list(asked.values())).take(is_report),
            **{name: self._to_questions(notes, each) for name, each in asked.items()},
            devices=list_devices([*signs, *stamps], self.rows.source),
            unknown=self._list_unknown(weighed, is_report),
            silent=int((~has_news & ~is_aside).sum()),
            aside=int(is_aside.sum()),
        )

    @property
    def _nowhere(self) -> NDArray[np.bool_]:
        return np.zeros(len(self.rows), np.bool_)

    @property
    def _is_mark(self) -> NDArray[np.bool_]:
        """Tell which rows are about a spot: a helispot with a green flag says nothing of a device."""
        return np.asarray((self.found.spot >= 0) & (self.found.is_named | (not self.rows.are_places)))

    def _is_late(self) -> NDArray[np.bool_]:
        """Tell which reports are dated after they came in: their clock is wrong."""
        return np.asarray(self.rows.time > self.options.received + _CLOCK_SLACK)

    def _has_own_time(self, time: TimeColumn) -> NDArray[np.bool_]:
        return self.baseline.has_own_time(self.found.spot, time, self.rows.last_seen)

    def _silence_signs(self, words: Bits) -> list[Device]:
        """Let symbols and colours say nothing that may be the device's own; return those that no words bear out."""
        if self.options.signs_are_meant:
            return []
        found = find_device_signs(
            [*(sign for sign in self.rows.drawn if sign.name in PICTURES), *self.rows.shapes],
            self.rows,
            handed_out=self._handed_out_bits(),
            is_named=self.found.is_named,
            is_placed=self._is_mark,
        )
        for sign, device in found:
            sign.silence(device.rows)
        return [device for _, device in found if (words[device.rows & self._is_mark] & device.says == 0).any()]

    def _find_stamps(self) -> list[Device]:
        if self.options.signs_are_meant:
            return []
        return find_device_times(self.rows, has_time=self._has_own_time(self.rows.time) & self._is_mark)

    def _matters(self, stamp: Device, is_report: NDArray[np.bool_]) -> bool:
        """Tell whether a time that is not taken would have dated a report, or confirmed heat."""
        repeats_heat = self._nowhere
        for sign in self.rows.drawn:
            repeats_heat |= sign.says & self._handed_out_bits() & HEAT != 0
        return bool((stamp.rows & (is_report | repeats_heat)).any())

    def _handed_out_bits(self) -> Bits:
        stored = to_status_bits(self.rows.stored)
        return np.where(stored > 0, stored, self.baseline.status_of(self.found.spot))

    def _read_comment(self, column: TextColumn) -> Sign:
        """Read what one column of comments says beyond what was handed out; what was weighed before is not again."""
        is_known = self.rows.known_signs != ""
        new = self.baseline.take_off(self.found.spot, column)
        sign = self.reader.read_texts("comment", np.where(is_known, column, new).astype(object))
        sign.silence(is_known)
        return sign

    def _join_comments(self) -> TextColumn:
        """Return what was written about each row and was not handed out with it, as one text."""
        columns = [sign.texts.tolist() for sign in self.comments]
        texts = ["; ".join(dict.fromkeys(filter(str.strip, each))) for each in zip(*columns, strict=True)]
        return np.fromiter(texts, dtype=object, count=len(texts))

    def _has_temperature(self, has_time: NDArray[np.bool_]) -> NDArray[np.bool_]:
        """Tell which rows measured something: a table of reports, or a mark with a time of its own."""
        is_measured = ~np.isnan(self.rows.temperature) & (has_time | self.rows.holds_numbers_only)
        return np.asarray(is_measured & (self.rows.temperature != self.baseline.temperature_of(self.found.spot)))

    def _is_strange(self) -> NDArray[np.bool_]:
        """Tell which rows are no handed-out mark: set at a new place, or renamed in words that nothing knows."""
        is_set = ~np.isnan(self.rows.longitude) | (self.found.given != "")
        is_new = (self.found.kind == UNPLACED) & ~self.found.is_numbered & is_set
        return np.asarray(is_new | (self.names.is_unknown & self.found.is_named))

    def _is_aside(self, bits: Bits) -> NDArray[np.bool_]:
        """Tell which rows are places: a helispot H-1 is no spot H-001, unless it stands there."""
        if not self.rows.are_places:
            return np.zeros(len(self.rows), np.bool_)
        is_refused = (self.found.kind == CONFLICT) & (bits != 0)
        return np.asarray(~(self.found.is_named & ((self.found.spot >= 0) | is_refused)))

    def _to_notes(
        self, bits: Bits, time: TimeColumn, comments: TextColumn, is_doubted: NDArray[np.bool_]
    ) -> StatusNotes:
        rows, spot = self.rows, self.found.spot
        number = np.where(spot >= 0, self.spots.id[spot], "") if len(self.spots) else np.full(len(rows), "", object)
        undated = np.isnat(time)
        is_open = undated & np.isnat(self.options.observed)
        extra = {
            **rows.extra,
            RETURNED_NAME: self._returned_names(number),
            RETURNED_SIGNS: rows.signs,
            NOT_BEFORE: np.where(is_open, self.baseline.handed_out_to(spot), NEVER),
            RECEIVED: np.where(is_open, self.options.received, NEVER),
            TIME_AS_GIVEN: np.where(is_doubted, rows.time, NEVER),
        }
        return StatusNotes(
            detection=number.astype(object),
            status=most_cautious(bits),
            time=np.where(undated, self.options.observed, time),
            author=np.where(rows.author != "", rows.author, self.options.author).astype(object),
            text=comments,
            temperature=rows.temperature,
            longitude=rows.longitude,
            latitude=rows.latitude,
            origin=rows.origin.astype(object),
            extra=extra,
            source=rows.source,
        )

    def _returned_names(self, number: TextColumn) -> TextColumn:
        """Return the name each report came under, where that is not the number itself."""
        former = self.rows.extra.get(RETURNED_NAME)
        given = np.where(self.found.given != number, self.found.given, "")
        return given if former is None else np.where(given != "", given, to_texts(former))

    def _ask(self, kind: str, is_asked: NDArray[np.bool_], words: TextColumn) -> _Asked:
        asked = np.flatnonzero(is_asked)
        return _Asked(kind, asked, words[asked])

    def _tell_alone(self, is_alone: NDArray[np.bool_]) -> TextColumn:
        words = np.full(len(is_alone), "", dtype=object)
        signs = [*(sign for sign in self.rows.drawn if sign.name in PICTURES), *self.rows.shapes]
        for row in np.flatnonzero(is_alone).tolist():
            sign = next(sign for sign in signs if sign.says[row] & COLD)
            words[row] = f"is {OUT!r} by its {sign.name} {shorten(sign.texts[row])!r} alone, with no word; confirm it"
        return words

    def _tell_clock(self, is_late: NDArray[np.bool_]) -> TextColumn:
        words = np.full(len(is_late), "", dtype=object)
        for row in np.flatnonzero(is_late).tolist():
            words[row] = f"is dated {self.rows.time[row]}Z, after it came in; its time is taken as missing"
        return words

    def _to_questions(self, notes: StatusNotes, asked: _Asked) -> Questions:
        return Questions(
            kind=np.full(len(asked.rows), asked.kind, dtype=object),
            number=notes.detection[asked.rows],
            value=self.found.given[asked.rows],
            words=asked.words,
            source=self.rows.source.take(asked.rows),
        )

    def _list_unknown(self, weighed: Weighed, is_report: NDArray[np.bool_]) -> Questions:
        """Return what nothing tells the meaning of; words only where nothing else of the row says a status."""
        is_mute = (weighed.bits == 0) & ~weighed.is_unclear
        is_told = {"name": is_report & is_mute & self.found.is_named, "comment": is_report & is_mute, "folder": is_mute}
        everywhere = np.ones(len(self.rows), np.bool_)
        lists = [
            self._list_sign(sign, sign.is_unknown & is_told.get(sign.name, everywhere))
            for sign in (*self.rows.drawn, *self.rows.said, self.names, *self.comments)
        ]
        return Questions.gather(lists)

    def _list_sign(self, sign: Sign, is_told: NDArray[np.bool_]) -> Questions:
        rows = np.flatnonzero(is_told)
        first: dict[str, int] = {}
        count: dict[str, int] = {}
        for row, text in zip(rows.tolist(), sign.texts[rows].tolist(), strict=True):
            first.setdefault(text, row)
            count[text] = count.get(text, 0) + 1
        words = [f"the {sign.name} {shorten(text)!r} has no known meaning{_times(count[text])}" for text in first]
        places = np.fromiter(first.values(), np.int64, len(first))
        return Questions(
            kind=np.full(len(first), UNKNOWN, dtype=object),
            number=np.full(len(first), "", dtype=object),
            value=np.fromiter(first, dtype=object, count=len(first)),
            words=np.fromiter(words, dtype=object, count=len(first)),
            source=self.rows.source.take(places),
        )


class _Asked(NamedTuple):
    """Hold which rows raise one kind of question, and the sentence of each."""

    kind: str
    rows: NDArray[np.int64]
    words: TextColumn


def _mark(notes: StatusNotes, asked: list[_Asked]) -> StatusNotes:
    """Write on each note what is asked of it, so that no question is lost with the report."""
    kinds, words = (np.full(len(notes), "", dtype=object) for _ in range(2))
    for each in asked:
        for row, sentence in zip(each.rows.tolist(), each.words.tolist(), strict=True):
            kinds[row] = kinds[row] or each.kind
            words[row] = f"{words[row]}; {sentence}" if words[row] else sentence
    return notes.replace(extra={**notes.extra, QUESTION: kinds, QUESTION_WORDS: words})


def _times(count: int) -> str:
    return "" if count == 1 else f" ({count} times, this is the first)"
