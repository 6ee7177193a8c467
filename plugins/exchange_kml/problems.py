"""What a file's reader has to tell, with the place it was found."""

from __future__ import annotations

from dataclasses import dataclass, field

from exchange.model import Problem
from exchange.model.problem import Severity

FORWARD_REMEDY = "Mend it in the file, or ask its sender for a correct one."


@dataclass
class Teller:
    """Collect problems of one file.

    Attributes
    ----------
    file
        The file's name as the user gave it.
    problems
        What has been told since the last ``take``.
    """

    file: str
    problems: list[Problem] = field(default_factory=list)

    def tell(
        self,
        message: str,
        *,
        severity: Severity = "skipped",
        layer: str = "",
        record: int = 0,
        field: str = "",
        value: str = "",
        count: int = 1,
        remedy: str = "",
    ) -> None:
        """Note one problem; the reader of the packet folds those that differ only in place and value."""
        self.problems.append(
            Problem(
                message=message,
                severity=severity,
                remedy=remedy,
                path=self.file,
                layer=layer,
                record=record,
                field=field,
                value=value,
                count=count,
            )
        )

    def take(self) -> tuple[Problem, ...]:
        """Return what was told, and start anew."""
        told, self.problems = tuple(self.problems), []
        return told
