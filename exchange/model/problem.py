"""What could not be taken, what was changed, and what was assumed: told, counted, never silent."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict, dataclass, replace
from typing import Any, Literal, Self

from exchange.errors import describe_place
from exchange.model.source import Source

Severity = Literal["note", "changed", "skipped"]


@dataclass(frozen=True, kw_only=True)
class Problem:
    """Tell one thing about a file that a person may need to know.

    Attributes
    ----------
    message
        What was found.
    severity
        ``note``: an assumption or a remark, nothing lost. ``changed``: a value was repaired. ``skipped``: a value
        or a record could not be taken into its column. The last two end a command with exit code 3.
    remedy
        What to do about it, or empty.
    path, layer, record, field
        Where; record counted from 1, 0 unknown. With a count above 1 it is the first place.
    value
        The offending text of the first place.
    count
        How many records it concerns.
    """

    message: str
    severity: Severity = "skipped"
    remedy: str = ""
    path: str = ""
    layer: str = ""
    record: int = 0
    field: str = ""
    value: str = ""
    count: int = 1

    @classmethod
    def at(cls, place: Source, message: str, **rest: Any) -> Self:
        """Return a problem of the row that came from ``place``; ``rest`` are the other attributes."""
        return cls(message=message, path=place.file, layer=place.layer, record=place.record, **rest)

    @property
    def needs_person(self) -> bool:
        """Whether something was skipped or changed."""
        return self.severity != "note"

    def __str__(self) -> str:
        """Return place, message, first value, count and remedy in one or two lines."""
        place = describe_place(self.path or None, self.layer or None, self.record or None, self.field or None)
        shown = self.value if len(self.value) <= 60 else self.value[:57] + "..."
        value = f" ({shown!r})" if self.value else ""
        first_of = ", this is the first" if self.record else ""
        times = f" [{self.count} times{first_of}]" if self.count > 1 else ""
        first = f"{place}: {self.message}{value}{times}" if place else f"{self.message}{value}{times}"
        return f"{first}\n  {self.remedy}" if self.remedy else first

    def as_dict(self) -> dict[str, Any]:
        """Return all fields by name, for reports."""
        return asdict(self)


def gather_problems(problems: Iterable[Problem]) -> tuple[Problem, ...]:
    """Fold problems that differ only in record, value and count into one each, the first place kept."""
    folded: dict[Problem, Problem] = {}
    for problem in problems:
        kind = replace(problem, record=0, value="", count=1)
        known = folded.get(kind)
        folded[kind] = replace(known, count=known.count + problem.count) if known else problem
    return tuple(folded.values())
