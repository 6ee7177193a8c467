"""Take the foreign columns of a batch of rows into the model's; what is not taken stays, and is told."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from exchange.formats.columns.claims import Claim, Plan, plan_columns
from exchange.formats.columns.instants import ReadTimes, read_epoch, read_times
from exchange.formats.columns.mapping import ColumnMapping
from exchange.formats.columns.measures import describe_unit, read_numbers
from exchange.formats.columns.suggest import describe_meaning, suggest_meaning
from exchange.formats.options import ReadOptions
from exchange.formats.values import to_text, to_texts
from exchange.model import STATUS_WORDS, Problem, Sources
from exchange.model.columns import ForeignColumn, columns_equal, has_value, to_items
from exchange.model.problem import Severity

_STATUS_BY_KEY = {word.replace(" ", ""): word for word in STATUS_WORDS}


@dataclass
class TakenColumns:
    """What became of a batch's foreign columns.

    Attributes
    ----------
    values
        By model column, in the model's kind and unit.
    origins
        The name of the foreign column that each of them came from.
    extra
        What no column of the model took, by name, typed as it came.
    height_reference
        What ``height`` is measured from, where the header says so.
    problems
        What was not taken, changed or assumed.
    """

    values: dict[str, ForeignColumn] = field(default_factory=dict)
    origins: dict[str, str] = field(default_factory=dict)
    extra: dict[str, ForeignColumn] = field(default_factory=dict)
    height_reference: str = ""
    problems: list[Problem] = field(default_factory=list)


def take_columns(
    columns: Mapping[str, ForeignColumn], targets: Collection[str], *, source: Sources, options: ReadOptions
) -> TakenColumns:
    """Take foreign columns into those of the model.

    Parameters
    ----------
    columns
        By name, each of shape (n,): typed, or text as ``str`` objects.
    targets
        The keys of ``TARGETS`` that the rows have a use for.
    source
        Where the rows came from.
    options
        What the file does not say of itself.

    Raises
    ------
    OptionError
        When a unit, a zone or the mapping in the options is not usable.
    """
    plan = plan_columns(columns, targets, options)
    return _Taking(columns, plan, source, options).run()


class _Taking:
    """One batch on its way into the model."""

    def __init__(self, columns: Mapping[str, ForeignColumn], plan: Plan, source: Sources, options: ReadOptions) -> None:
        self.columns, self.plan, self.source, self.options = columns, plan, source, options
        self.mapping = options.columns or ColumnMapping()
        self.taken = TakenColumns()

    def run(self) -> TakenColumns:
        agreed = [rivals[0] for rivals in self.plan.conflicts.values() if self.agree(rivals)]
        claims = [*self.plan.claims.values(), *agreed]
        claimed = {claim.name for claim in claims}
        self.taken.extra = {name: column for name, column in self.columns.items() if name not in claimed}
        for claim in claims:
            self.take(claim)
        self.tell_conflicts()
        self.suggest()
        return self.taken

    def take(self, claim: Claim) -> None:
        column = self.columns[claim.name]
        kind = claim.target.kind
        if kind == "number":
            self.take_numbers(claim, column)
        elif kind == "status":
            self.take_status(claim, column)
        elif kind in ("time", "epoch"):
            self.take_times(claim, column)
        elif kind == "date":
            self.taken.extra[claim.name] = column
        else:
            self.keep(claim, to_texts(column))

    def keep(self, claim: Claim, values: ForeignColumn) -> None:
        self.taken.values[claim.column] = values
        self.taken.origins[claim.column] = claim.name

    def take_numbers(self, claim: Claim, column: ForeignColumn) -> None:
        read = read_numbers(column, claim.target, unit=claim.unit, decimal_mark=self.options.decimal_mark)
        self.keep(claim, read.values)
        if claim.column == "height":
            self.taken.height_reference = claim.height_reference
        if read.without_unit.any():
            self.leave(claim.name, column, read.without_unit)
            self.tell(
                read.without_unit,
                f"{claim.column} without a unit is not taken; it is kept as a foreign field",
                name=claim.name,
                remedy=_describe_unit_remedy(claim),
            )
        self.leave_unreadable(claim, column, read.unreadable, f"the value is no {claim.column} that can be")
        self.tell_assumptions(claim, ~np.isnan(read.values))

    def tell_assumptions(self, claim: Claim, rows: NDArray[np.bool_]) -> None:
        if claim.unit:
            message = f"{claim.column} is read in the unit {describe_unit(claim.unit, claim.target)}"
            self.tell(rows, message, name=claim.name, severity="note", value="")
        elif claim.target.quantity == "angle":
            self.tell(rows, f"{claim.column} is read in degrees", name=claim.name, severity="note", value="")
        if claim.column == "accuracy":
            message = "accuracy is taken as the radius that holds the true place 95 times in 100"
            remedy = "Check it with the sender: many figures hold only 50 or 68 in 100."
            self.tell(rows, message, name=claim.name, severity="note", value="", remedy=remedy)

    def take_times(self, claim: Claim, column: ForeignColumn) -> None:
        read = self.read_instants(claim, column)
        self.keep(claim, read.values)
        name = f"{claim.column}_text"
        left = read.unreadable | read.without_zone
        if left.any():
            self.leave(name, read.texts, left)
        remedy = _describe_time_remedy(claim, is_count=column.dtype.kind in "iuf" or claim.target.kind == "epoch")
        self.tell(
            read.unreadable,
            f"the value is no time that can be read; kept in {name}",
            name=claim.name,
            remedy=remedy,
            of=read.texts,
        )
        self.tell(
            read.without_zone,
            f"the time carries no zone; kept in {name}",
            name=claim.name,
            remedy="State the zone with --assume-tz, such as --assume-tz America/Boise.",
            of=read.texts,
        )
        if claim.timezone not in ("UTC", "Z"):
            message = f"times without a zone are read in {claim.timezone}"
            self.tell(read.in_zone, message, name=claim.name, severity="note", value="")

    def read_instants(self, claim: Claim, column: ForeignColumn) -> ReadTimes:
        if claim.target.kind == "epoch":
            return read_epoch(column, unit=claim.unit)
        day = self.plan.claims.get("date") if claim.column == "time" else None
        dates = self.columns[day.name] if day else None
        return read_times(column, timezone=claim.timezone, time_format=claim.time_format, dates=dates)

    def take_status(self, claim: Claim, column: ForeignColumn) -> None:
        texts = to_texts(column)
        known = {word: self.translate_status(word) for word in set(texts.tolist())}
        taken = {word: status or "" for word, status in known.items()}
        self.keep(claim, np.fromiter(map(taken.__getitem__, texts.tolist()), dtype=object, count=len(texts)))
        unknown = {word for word, status in known.items() if status is None}
        if not unknown:
            return
        rows = np.fromiter((text in unknown for text in texts), dtype=bool, count=len(texts))
        self.leave_unreadable(claim, texts, rows, "the word is no status known here", remedy=_STATUS_REMEDY)

    def translate_status(self, word: str) -> str | None:
        if word in self.mapping.status:
            return self.mapping.status[word]
        key = "".join(c for c in word.casefold() if c.isalnum())
        return _STATUS_BY_KEY.get(key, None if key else "")

    def leave_unreadable(
        self, claim: Claim, column: ForeignColumn, rows: NDArray[np.bool_], what: str, *, remedy: str = ""
    ) -> None:
        if not rows.any():
            return
        name = f"{claim.column}_text"
        self.leave(name, column, rows)
        self.tell(
            rows, f"{what}; kept in {name}", name=claim.name, remedy=remedy or "Mend the value in the file.", of=column
        )

    def leave(self, name: str, column: ForeignColumn, rows: NDArray[np.bool_]) -> None:
        """Keep the values of some rows in extra, under a name that nothing else has."""
        while name in self.taken.extra:
            name += "_"
        if rows.all() or not (has_value(column) & ~rows).any():
            self.taken.extra[name] = column
            return
        items = to_items(column)
        kept = [item if keep else None for item, keep in zip(items, rows.tolist(), strict=True)]
        self.taken.extra[name] = np.fromiter(kept, dtype=object, count=len(kept))

    def agree(self, rivals: Sequence[Claim]) -> bool:
        """Whether foreign columns that claim one model column say the same in every row, so that either will do."""
        first, *others = rivals
        return all(
            replace(other, name=first.name) == first
            and columns_equal(self.columns[first.name], self.columns[other.name]).all()
            for other in others
        )

    def tell_conflicts(self) -> None:
        for column, rivals in self.plan.conflicts.items():
            if self.agree(rivals):
                continue
            names = [claim.name for claim in rivals]
            shown = " and ".join(repr(name) for name in names)
            rows = np.logical_or.reduce([has_value(self.columns[name]) for name in names])
            self.tell(
                rows,
                f"{shown} both claim to be {column}; none is taken, all are kept as foreign fields",
                name=names[0],
                value="",
                remedy=f"Say which it is in the --columns file: {describe_meaning(names[0], column)}",
            )

    def suggest(self) -> None:
        for name in self.plan.unclaimed:
            column = suggest_meaning(name)
            if column and column not in self.plan.claims and has_value(self.columns[name]).any():
                self.tell(
                    has_value(self.columns[name]),
                    f"this column may be {column}; it is kept as a foreign field",
                    name=name,
                    severity="note",
                    value="",
                    remedy=f"If it is, write in the --columns file, under [columns]: {describe_meaning(name, column)}",
                )

    def tell(
        self,
        rows: NDArray[np.bool_],
        message: str,
        *,
        name: str,
        severity: Severity = "skipped",
        remedy: str = "",
        value: str | None = None,
        of: ForeignColumn | None = None,
    ) -> None:
        if not rows.any():
            return
        first = int(np.argmax(rows))
        place = self.source[first]
        shown = (
            to_text(to_items((self.columns[name] if of is None else of)[first : first + 1])[0])
            if value is None
            else value
        )
        self.taken.problems.append(
            Problem.at(
                place,
                message,
                severity=severity,
                remedy=remedy,
                field=name,
                value=shown,
                count=int(rows.sum()),
            )
        )


_STATUS_REMEDY = (
    'Say what the word means in the --columns file, under [status]: "WORD" = "hot", or another of: '
    + ", ".join(STATUS_WORDS)
)


def _describe_unit_remedy(claim: Claim) -> str:
    word = {"temperature": "F", "area": "ac", "share": "percent"}.get(claim.target.quantity or "", "ft")
    line = describe_meaning(claim.name, claim.column, "unit", word)
    return f"State it: --unit {claim.column}={word}, or in the --columns file, under [columns]: {line}"


def _describe_time_remedy(claim: Claim, *, is_count: bool) -> str:
    key, value = ("unit", "ms") if is_count else ("format", "%d.%m.%Y %H:%M")
    line = describe_meaning(claim.name, claim.column, key, value)
    return f"State {'what it counts' if is_count else 'how it is written'} in the --columns file: {line}"
