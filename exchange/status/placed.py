"""What came back, put to its spots: notes, and what a person must look at."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Self

from exchange.model import StatusNotes
from exchange.status.questions import Questions

_QUESTIONS = ("conflicts", "unplaced", "unclear", "devices", "signs_alone", "clocks", "unknown")


@dataclass(frozen=True, kw_only=True)
class Placed:
    """Hold what came back.

    Attributes
    ----------
    notes
        Every report; ``detection`` is the permanent number, or empty where it is not applied. ``source`` is the row
        it came from; the foreign columns ``question`` and ``question_words`` say what a person must look at.
    conflicts
        Reports that their own name and place, or two names, set against each other; not applied.
    unplaced
        Reports that find no spot; not applied.
    unclear
        Reports whose signs disagree or whose words may mean more; applied with the more cautious word.
    devices
        Symbols, colours and times that nearly all marks of a file carry and that may be the device's own, each once
        with the first place; not applied.
    signs_alone
        Spots called out by a symbol or colour and by no word; applied.
    clocks
        Reports dated after they came in; applied without their time.
    unknown
        Words, symbols and colours that nothing tells the meaning of, each once, with the first place.
    silent
        How many rows say nothing new.
    aside
        How many rows are places and no report on a spot.
    """

    notes: StatusNotes
    conflicts: Questions
    unplaced: Questions
    unclear: Questions
    devices: Questions
    signs_alone: Questions
    clocks: Questions
    unknown: Questions
    silent: int = 0
    aside: int = 0

    def questions(self) -> Questions:
        """Return everything that a person must look at, the most urgent first."""
        return Questions.gather([getattr(self, name) for name in _QUESTIONS])

    @classmethod
    def join(cls, parts: list[Self]) -> Self:
        """Return what came back in several tables as one."""
        return cls(
            notes=StatusNotes.join([part.notes for part in parts if len(part.notes)]),
            **{name: Questions.gather([getattr(part, name) for part in parts]) for name in _QUESTIONS},
            silent=sum(part.silent for part in parts),
            aside=sum(part.aside for part in parts),
        )
