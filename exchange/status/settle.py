"""The current status of each spot: the latest word by the time it was observed, the more cautious where times fail."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import PurePath

import numpy as np
from numpy.typing import NDArray

from exchange.formats.time_text import parse_times
from exchange.formats.values import to_texts
from exchange.model import Detections, StatusNotes
from exchange.model.columns import ForeignColumn, TextColumn, TimeColumn
from exchange.model.priority import STATUS_ORDER
from exchange.model.spot_number import find_aliases
from exchange.model.status import NO_HEAT, OUT, RECHECK
from exchange.status.options import SettleOptions
from exchange.status.place import NOT_BEFORE, RECEIVED
from exchange.status.questions import DISPUTED, REOPENED, UNPLACED, Questions
from exchange.status.text_codes import find_texts, rank_texts

FLAG, FLAG_WORDS = "flag", "flag_words"
"""Foreign columns of a list: ``disputed`` or ``reopened``, and the sentence for a person."""

STATUS_TIME, STATUS_AUTHOR = "status_time", "status_author"
"""Foreign columns of a list: when the word that stands was observed, and by whom."""

CAUTION = {word: place for place, word in enumerate(STATUS_ORDER)}
"""Place in the order of caution, the most cautious first: hot, recheck, working, unchecked, no heat, out."""

# Milliseconds since 1970 that stand before and after all times, with room to add a span.
_BEFORE_ALL, _AFTER_ALL = -(2**61), 2**61
_NAT = np.iinfo(np.int64).min
_SHOWN = 6

Whole = NDArray[np.int64]


@dataclass(frozen=True, kw_only=True)
class Settled:
    """Hold the list with its current status.

    Attributes
    ----------
    spots
        The list; the foreign columns ``flag`` and ``flag_words`` say what a person must look at, ``status_time`` and
        ``status_author`` whose word stands.
    disputed
        Spots on which reports of one time disagree; the more cautious word stands.
    reopened
        Spots at which heat was seen after the word that there is none.
    unplaced
        Notes on numbers that the list does not have; they change nothing.
    """

    spots: Detections
    disputed: Questions
    reopened: Questions
    unplaced: Questions

    def questions(self) -> Questions:
        """Return everything that a person must look at, the most urgent first."""
        return Questions.gather([self.unplaced, self.reopened, self.disputed])


def settle_status(
    spots: Detections,
    notes: StatusNotes,
    *,
    sightings: Detections | None = None,
    options: SettleOptions | None = None,
) -> Settled:
    """Return the list with the current status of each spot, from all notes on it and from when it was seen.

    1. The latest word counts, by the time it was observed.
    2. Of words within the stated span of the latest, and of those without a time that nothing shows to be older, the
       most cautious stands: hot, recheck, working, unchecked, no heat, out. Where they differ the spot is disputed.
    3. Heat seen after ``out`` or ``no heat``, or within the span before it, reopens the spot as ``recheck``.
    4. A spot without a note keeps the status it has.

    ``out`` comes from a note only. The order of rows changes nothing.

    Parameters
    ----------
    spots
        The list, ``id`` the numbers; ``time`` and ``last_seen`` are when heat was seen there.
    notes
        All notes; ``detection`` is a number or an alias, empty where a note is not applied. A note without a time
        may say in the foreign columns ``not_before`` and ``received`` between which times it was made.
    sightings
        Further sightings, ``id`` the number of the spot.
    options
        The span.
    """
    options = options or SettleOptions()
    numbers = _index_numbers(spots)
    about = find_texts(notes.detection, numbers)
    words = _Words.of(notes, about, options)
    settling = _Settling(spots, notes, words)
    reopened = settling.reopen(_find_heat(spots, sightings, numbers), options)
    disputed = settling.dispute()
    return Settled(
        spots=settling.to_spots(), disputed=disputed, reopened=reopened, unplaced=_list_unplaced(notes, about)
    )


@dataclass(frozen=True)
class _Words:
    """What the notes say, spot by spot.

    Attributes
    ----------
    notes
        Rows of the notes that count, in the order of their spots; of one spot the most cautious word first.
    start
        Where in ``notes`` each spot begins.
    spot
        Row in the list of each spot that has notes.
    is_disputed
        Whether the words that count for each of them differ.
    """

    notes: Whole
    start: Whole
    spot: Whole
    is_disputed: NDArray[np.bool_]

    @property
    def standing(self) -> Whole:
        """The note whose word stands, for each spot that has notes."""
        return self.notes[self.start]

    @classmethod
    def of(cls, notes: StatusNotes, spot: Whole, options: SettleOptions) -> _Words:
        """Return the words that count: the latest, those of its time, and those that may be."""
        caution = find_texts(notes.status, CAUTION)
        earliest, latest = _bounds(notes)
        rows = np.flatnonzero((spot >= 0) & (caution >= 0))
        rows = rows[np.argsort(spot[rows], kind="stable")]
        newest = _spread(np.maximum, earliest[rows], spot[rows])
        rows = rows[latest[rows] >= newest - _to_milliseconds(options)]
        # Beyond caution and time only to be sure that the order of the notes changes nothing.
        texts = (rank_texts(column[rows]) for column in (notes.text, notes.origin, notes.author))
        rows = rows[np.lexsort((*texts, -earliest[rows], caution[rows], spot[rows]))]
        _, start = np.unique(spot[rows], return_index=True)
        worst, best = (_spread(each, caution[rows], spot[rows]) for each in (np.minimum, np.maximum))
        return cls(rows, start, spot[rows][start], (worst != best)[start])


class _Settling:
    """A list on its way to its current status."""

    def __init__(self, spots: Detections, notes: StatusNotes, words: _Words) -> None:
        self.spots, self.notes, self.words = spots, notes, words
        self.status, self.author, self.flag, self.flag_words = spots.status.copy(), *_blank(len(spots), 3)
        self.time = _former_times(spots)
        self.status[words.spot], self.author[words.spot] = notes.status[words.standing], notes.author[words.standing]
        self.time[words.spot] = notes.time[words.standing]
        self._note = np.full(len(spots), -1)
        self._note[words.spot] = words.standing

    def reopen(self, heat: TimeColumn, options: SettleOptions) -> Questions:
        """Set to ``recheck`` where heat was seen after the word that there is none, or may have been."""
        rows = np.flatnonzero(_is_cold(self.status) & (_to_whole(heat, _BEFORE_ALL) >= self._told(options)))
        words = self._tell_reopened(rows, heat)
        self.status[rows], self.author[rows], self.time[rows] = RECHECK, "", heat[rows]
        self.flag[rows] = REOPENED
        self._enter_words(rows, words)
        return self._ask(REOPENED, rows, words)

    def dispute(self) -> Questions:
        """Flag the spots on which words of one time differ."""
        places = np.flatnonzero(self.words.is_disputed)
        rows = self.words.spot[places]
        words = [self._tell_disputed(place) for place in places.tolist()]
        self.flag[rows] = np.where(self.flag[rows] == "", DISPUTED, self.flag[rows])
        self._enter_words(rows, words)
        return self._ask(DISPUTED, rows, words)

    def to_spots(self) -> Detections:
        """Return the list with status and flags."""
        extra = {**self.spots.extra, FLAG: self.flag, FLAG_WORDS: self.flag_words}
        extra |= {STATUS_TIME: self.time, STATUS_AUTHOR: self.author}
        return self.spots.replace(status=self.status, extra=extra)

    def _told(self, options: SettleOptions) -> Whole:
        """Return from when on heat speaks against each spot's word, in milliseconds since 1970."""
        # Without a note only what is newer than the word's own time, or else than the list itself, is news.
        known = _to_whole(self.time, _AFTER_ALL)
        listed = _to_whole(_later(self.spots.time, self.spots.last_seen), _AFTER_ALL) + 1
        told = np.where(known < _AFTER_ALL, known, listed + _to_milliseconds(options))
        earliest, _ = _bounds(self.notes)
        told[self.words.spot] = earliest[self.words.standing]
        # The least time of all is kept for spots at which no heat was seen.
        return np.asarray(np.maximum(told - _to_milliseconds(options), _BEFORE_ALL + 1))

    def _tell_reopened(self, rows: Whole, heat: TimeColumn) -> list[str]:
        times = zip(rows.tolist(), _minutes(self.time[rows]), _minutes(heat[rows]), strict=True)
        return [
            f"{self.status[row]!r}{_by(self.notes, self._note[row])} {told}, and heat was seen {seen}; "
            f"it is {RECHECK!r} until a person says otherwise"
            for row, told, seen in times
        ]

    def _tell_disputed(self, place: int) -> str:
        end = self.words.start[place + 1] if place + 1 < len(self.words.start) else len(self.words.notes)
        rows = self.words.notes[self.words.start[place] : end]
        times = _minutes(self.notes.time[rows], missing="without a time")
        each = dict.fromkeys(
            f"{self.notes.status[row]!r}{_by(self.notes, row)} {time}" for row, time in zip(rows, times, strict=True)
        )
        stands = self.notes.status[rows[0]]
        told = list(each) if len(each) <= _SHOWN else [*list(each)[:_SHOWN], f"{len(each) - _SHOWN} more"]
        return f"{', '.join(told)}; {stands!r}, the more cautious, stands"

    def _enter_words(self, rows: Whole, words: list[str]) -> None:
        for row, sentence in zip(rows.tolist(), words, strict=True):
            self.flag_words[row] = f"{self.flag_words[row]}; {sentence}" if self.flag_words[row] else sentence

    def _ask(self, kind: str, rows: Whole, words: list[str]) -> Questions:
        return Questions(
            kind=np.full(len(rows), kind, dtype=object),
            number=self.spots.id[rows],
            words=np.fromiter(words, dtype=object, count=len(words)),
            source=self.spots.source.take(rows),
        )


def _index_numbers(spots: Detections) -> dict[str, int]:
    numbers = {number: row for row, number in enumerate(spots.id.tolist()) if number}
    aliases = {alias: numbers[number] for alias, number in find_aliases(spots).items() if number in numbers}
    return {**aliases, **numbers}


def _list_unplaced(notes: StatusNotes, about: Whole) -> Questions:
    rows = np.flatnonzero((about < 0) & (notes.detection != ""))
    words = [f"speaks of {number}, which the list does not have" for number in notes.detection[rows].tolist()]
    return Questions(
        kind=np.full(len(rows), UNPLACED, dtype=object),
        value=notes.detection[rows],
        words=np.fromiter(words, dtype=object, count=len(words)),
        source=notes.source.take(rows),
    )


def _find_heat(spots: Detections, sightings: Detections | None, numbers: dict[str, int]) -> TimeColumn:
    """Return when heat was last seen at each spot."""
    heat = _to_whole(_later(spots.time, spots.last_seen), _BEFORE_ALL)
    if sightings is not None and len(sightings):
        rows = find_texts(sightings.id, numbers)
        seen = _to_whole(_later(sightings.time, sightings.last_seen), _BEFORE_ALL)
        is_heat = (rows >= 0) & ~_is_cold(sightings.status)
        np.maximum.at(heat, rows[is_heat], seen[is_heat])
    return np.where(heat > _BEFORE_ALL, heat, _NAT).astype("datetime64[ms]")


def _bounds(notes: StatusNotes) -> tuple[Whole, Whole]:
    """Return between which times each note was made, in milliseconds since 1970; its own time is both."""
    bounds = []
    for name, missing in ((NOT_BEFORE, _BEFORE_ALL), (RECEIVED, _AFTER_ALL)):
        known = _to_instants(notes.extra.get(name), len(notes))
        bounds.append(_to_whole(np.where(np.isnat(notes.time), known, notes.time), missing))
    return bounds[0], bounds[1]


def _former_times(spots: Detections) -> TimeColumn:
    return _to_instants(spots.extra.get(STATUS_TIME), len(spots)).copy()


def _to_instants(column: ForeignColumn | None, length: int) -> TimeColumn:
    """Return a foreign column as instants: a file that knows no times gives them back as text."""
    if column is None:
        return np.full(length, _NAT).astype("datetime64[ms]")
    if column.dtype.kind == "M":
        return column.astype("datetime64[ms]")
    return parse_times(to_texts(column)).time


def _later(first: TimeColumn, second: TimeColumn) -> TimeColumn:
    return np.fmax(first, second)


def _to_whole(times: TimeColumn, missing: int) -> Whole:
    return np.where(np.isnat(times), missing, times.astype("datetime64[ms]").astype(np.int64))


def _to_milliseconds(options: SettleOptions) -> int:
    return int(options.same_time.astype(np.int64))


def _spread(combine: np.ufunc, values: Whole, groups: Whole) -> Whole:
    """Return for each row what ``combine`` makes of all values of its group; the groups stand together."""
    if not len(values):
        return values
    start = np.flatnonzero(np.r_[True, groups[1:] != groups[:-1]])
    lengths = np.diff(np.r_[start, len(groups)])
    return np.repeat(combine.reduceat(values, start), lengths)


def _is_cold(status: TextColumn) -> NDArray[np.bool_]:
    return np.asarray((status == OUT) | (status == NO_HEAT))


def _blank(length: int, count: int) -> list[TextColumn]:
    return [np.full(length, "", dtype=object) for _ in range(count)]


def _by(notes: StatusNotes, row: int) -> str:
    """Tell whose word a note is: who made it, or else the file it came in."""
    if row < 0 or not (notes.author[row] or notes.origin[row]):
        return ""
    return f" by {notes.author[row]}" if notes.author[row] else f" in {PurePath(notes.origin[row]).name}"


def _minutes(times: TimeColumn, missing: str = "at a time that nobody stated") -> list[str]:
    texts = np.datetime_as_string(times, unit="m").tolist()
    return [missing if text == "NaT" else f"at {text}Z" for text in texts]
