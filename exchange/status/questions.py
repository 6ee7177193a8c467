"""What a person must look at: one row a question, with the place it came from."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, ClassVar

from exchange.model import table
from exchange.model.columns import TextColumn
from exchange.model.row import Row
from exchange.model.table import Table

CONFLICT = "conflict"
"""A report that its own fields set against itself: it is kept, and not applied."""

UNPLACED = "unplaced"
"""A report that finds no spot, or more than one: it is kept, and not applied."""

UNKNOWN = "unknown word"
"""A word, symbol or colour that nothing says the meaning of; it is never guessed."""

UNCLEAR = "unclear"
"""A report whose signs disagree, or whose words may mean more: the more cautious word is entered."""

DEVICE = "device"
"""A symbol, colour or time that nearly all marks of a file carry and that may be the device's own; not applied."""

SIGN_ALONE = "sign alone"
"""A spot called out by a symbol or colour and by no word: it is applied, and to be confirmed."""

CLOCK = "clock"
"""A report dated after it came in: its time is taken as missing."""

DISPUTED = "disputed"
"""Reports that disagree within the span in which times do not decide: the more cautious word stands."""

REOPENED = "reopened"
"""Heat was seen after the word that the spot has none: it is to be looked at again."""

KINDS = (CONFLICT, UNPLACED, REOPENED, DISPUTED, UNCLEAR, DEVICE, SIGN_ALONE, CLOCK, UNKNOWN)
"""All of them, the most urgent first."""


class Question(Row):
    """One row of ``Questions``."""

    __slots__ = ()


@dataclass(frozen=True, eq=False, repr=False, kw_only=True)
class Questions(Table):
    """Hold what a person must look at; ``source`` names file, layer and record of the first place.

    Attributes
    ----------
    kind
        One of ``KINDS``.
    number
        The permanent number of the spot it is about, or empty.
    value
        The text, symbol or colour in question, or empty.
    words
        A sentence for a person: what was found and what was done.
    """

    row_type: ClassVar[type[Row]] = Question

    kind: TextColumn = table.text()
    number: TextColumn = table.text()
    value: TextColumn = table.text()
    words: TextColumn = table.text()

    def as_dicts(self) -> list[dict[str, Any]]:
        """Return each question with its file, layer and record, for reports as JSON."""
        columns = {name: getattr(self, name).tolist() for name in ("kind", "number", "value", "words")}
        columns |= {name: getattr(self.source, name).tolist() for name in ("file", "layer", "record")}
        return [dict(zip(columns, row, strict=True)) for row in zip(*columns.values(), strict=True)]

    def counts(self) -> dict[str, int]:
        """Return how many questions there are of each kind, those of none left out."""
        kinds = self.kind.tolist()
        return {kind: kinds.count(kind) for kind in KINDS if kind in kinds}

    def as_lines(self, limit: int) -> list[str]:
        """Return the first questions in a line each: kind, spot, place and words."""
        return [
            f"{row.kind}: {row.number + ': ' if row.number else ''}{row.source}: {row.words}"
            for row in self.take(slice(limit))
        ]

    def with_others(self, others: Questions) -> Questions:
        """Return these questions and others, the most urgent kind first."""
        return self.gather([self, others])

    @classmethod
    def gather(cls, parts: list[Questions]) -> Questions:
        """Return the questions of several tables, the most urgent kind first."""
        joined = cls.join([part for part in parts if len(part)])
        order = {kind: place for place, kind in enumerate(KINDS)}
        ranks = [order[kind] for kind in joined.kind.tolist()]
        return joined.take(sorted(range(len(ranks)), key=ranks.__getitem__))


def shorten(text: str) -> str:
    """Return a text short enough to stand in a sentence.

    >>> shorten("x" * 100)[-8:], len(shorten("x" * 100))
    ('xxxxx...', 60)
    """
    return text if len(text) <= 60 else text[:57] + "..."
