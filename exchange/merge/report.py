"""What a merge tells: per sortie and overall."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict, dataclass
from typing import Any

VERSION = 1

DOUBTFUL = 0.25
"""Part by which a stated accuracy may differ from what the sightings tell. Simulated: rightly stated within 0.07; twice
or half the true one told by 0.3 to 0.5."""


@dataclass(frozen=True, kw_only=True)
class SortieReport:
    """Tell about one sortie.

    Attributes
    ----------
    sortie, aircraft
        As the sightings name them; empty where they do not.
    sightings
        Rows given.
    told_twice
        Rows that say exactly what another row of the sortie says; they count once.
    accuracy_m
        Radius that holds the true place 95 times in 100, as stated (the median) or estimated, metres.
    accuracy_estimated
        Whether it was estimated from the sightings.
    accuracy_repeats_m
        What the sightings tell of it by how they repeat each other and other sorties, metres; NaN where too few do.
        Where the stated accuracy is far off, this one lies between it and the truth.
    shift_east_m, shift_north_m
        How far the sortie lies off, metres; taken off its positions where ``shift_applied``.
    shift_error_m
        Standard error of the shift per axis, metres; NaN where none was found.
    shift_support
        How many pairs of sightings carry it.
    shift_applied
        Whether it was taken out.
    shift_reason
        Why, or why not.
    matched
        Spots of this sortie that an earlier sortie or the earlier list knows.
    new
        Spots that it saw first.
    repeats
        Sightings beyond the first of a spot within this sortie.
    """

    sortie: str
    aircraft: str
    sightings: int
    told_twice: int
    accuracy_m: float
    accuracy_estimated: bool
    accuracy_repeats_m: float
    shift_east_m: float
    shift_north_m: float
    shift_error_m: float
    shift_support: int
    shift_applied: bool
    shift_reason: str
    matched: int
    new: int
    repeats: int

    @property
    def remark(self) -> str:
        """What a person should know: why shifted or not, and whether the stated accuracy fits the sightings."""
        ratio = self.accuracy_repeats_m / self.accuracy_m if self.accuracy_m else 1.0
        if self.accuracy_estimated or not (ratio > 1 + DOUBTFUL or ratio < 1 / (1 + DOUBTFUL)):
            return self.shift_reason
        told, found = (
            f"{self.accuracy_m:.1f} m",
            f"{self.accuracy_repeats_m:.1f} m or {'more' if ratio > 1 else 'less'}",
        )
        return f"{self.shift_reason}; states an accuracy of {told}, its sightings repeat to {found}"


@dataclass(frozen=True, kw_only=True)
class MergeReport:
    """Tell what a merge did.

    Attributes
    ----------
    sorties
        In the order of their first sighting.
    sightings
        Rows given.
    without_position
        Rows that could take no part.
    spots
        How many stand in the list.
    flagged
        How many of them want a person's eye.
    kept, new
        Numbers that the earlier list knew, and new ones.
    joined, divided
        Earlier spots that turned out to be part of another, and that turned out to be several.
    flags
        How many spots carry each flag.
    """

    sorties: tuple[SortieReport, ...]
    sightings: int
    without_position: int
    spots: int
    flagged: int
    kept: int
    new: int
    joined: int
    divided: int
    flags: dict[str, int]

    def as_dict(self) -> dict[str, Any]:
        """Return the report with stable keys and a ``version``; NaN becomes ``None``."""
        return {"version": VERSION, **{name: _plain(value) for name, value in asdict(self).items()}}

    def lines(self) -> list[str]:
        """Return the report for people, a line each."""
        return [*self._describe_sorties(), self._describe_spots(), *self._describe_flags()]

    def _describe_sorties(self) -> Iterator[str]:
        for one in self.sorties:
            yield (
                f"{one.sortie or 'no sortie named'}: {one.sightings} sightings, {one.matched} spots known, "
                f"{one.new} new, {one.repeats} repeats; {one.remark}"
            )

    def _describe_spots(self) -> str:
        text = f"{self.spots} spots of {self.sightings} sightings: {self.kept} numbers kept, {self.new} new"
        return text + (f"; {self.without_position} rows have no position" if self.without_position else "")

    def _describe_flags(self) -> Iterator[str]:
        if self.flagged:
            yield f"{self.flagged} spots want a person's eye:"
        yield from (f"  {count} x {flag}" for flag, count in self.flags.items())


def _plain(value: Any) -> Any:
    if isinstance(value, float) and value != value:
        return None
    if isinstance(value, dict):
        return {name: _plain(one) for name, one in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(one) for one in value]
    return value
