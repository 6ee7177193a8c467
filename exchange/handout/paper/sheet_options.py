"""What a sheet says and how it is laid out."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

from exchange.errors import OptionError
from exchange.geo.coordinates.formatting import OUTPUT_FORMS, OutputForm

PAPER_SIZES: Final = ("a4", "letter")
CAUTION: Final = (
    "An aid, not an order. The incident's command, licensed practice and local rules decide on entering burned ground "
    "and on calling a spot out. Check one known point before walking by this sheet."
)


@dataclass(frozen=True, kw_only=True)
class SheetOptions:
    """State what the sheet is about and in which terms.

    Attributes
    ----------
    title
        The fire's name, or what the sheet is for.
    source
        Where the data comes from, in words.
    data_time
        When the data was true, in words with its zone; empty where nobody said.
    paper
        ``'a4'`` or ``'letter'`` (ISO 216; ANSI/ASME Y14.1).
    forms
        The two forms each position is printed in.
    temperature_unit
        ``'C'`` or ``'F'``.

    Raises
    ------
    OptionError
        When the paper, a form or the unit is none of those above.
    """

    title: str = ""
    source: str = ""
    data_time: str = ""
    paper: Literal["a4", "letter"] = "a4"
    forms: tuple[OutputForm, OutputForm] = ("DDM", "USNG")
    temperature_unit: Literal["C", "F"] = "C"

    def __post_init__(self) -> None:
        """Refuse what the sheet has no layout for."""
        _require(self.paper, PAPER_SIZES, "paper")
        _require(self.temperature_unit, ("C", "F"), "temperature unit")
        if len(self.forms) != 2:
            raise OptionError(f"{len(self.forms)} forms of a position do not fit", remedy="Name two.")
        for form in self.forms:
            _require(form, OUTPUT_FORMS, "form of a position")


def _require(value: str, allowed: tuple[str, ...], what: str) -> None:
    if value not in allowed:
        raise OptionError(f"{value!r} is no {what}", remedy=f"It is one of {', '.join(allowed)}.")
