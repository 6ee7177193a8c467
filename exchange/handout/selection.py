"""Which spots are handed out: every condition is a column and an option, and all of them must hold."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, fields
from typing import TYPE_CHECKING, Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from exchange.errors import OptionError
from exchange.geo.edge import EdgeDistance, measure_to_edge
from exchange.geo.geodesy import distances_m
from exchange.handout.divisions import Divisions
from exchange.handout.number_ranges import NumberRanges
from exchange.model import STATUS_WORDS, Detections, Problem
from exchange.model.spot_number import ALIASES, split_aliases

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

Mask = NDArray[np.bool_]
Floats = NDArray[np.float64]
Side = Literal["inside", "outside"]

SEEN_BY = "seen_by"
"""Foreign column of a merged list: the sorties that saw the spot."""


@dataclass(frozen=True, kw_only=True)
class Selection:
    """State which spots are wanted; what is not given asks nothing.

    Attributes
    ----------
    statuses
        Status words; a spot without one counts as ``unchecked``.
    numbers
        Single numbers and ranges; a spot is meant by its aliases too.
    divisions
        Names of divisions.
    side
        Inside the perimeter or outside of it.
    edge_least_m, edge_most_m
        Distance from the nearest edge of the perimeter, islands' edges included.
    temperature_least, temperature_most
        Degrees Celsius.
    area_least_m2, area_most_m2
        Of the spot itself.
    since, until
        When it was last seen, UTC; both ends included.
    sorties
        It was seen by one of these.
    near
        Longitude and latitude that ``near_most_m`` and ``nearest`` measure from.
    near_most_m
        Farthest distance from there.
    nearest
        So many of what is left, the nearest ones; 0 is all.

    Raises
    ------
    OptionError
        When a word is unknown, or a distance has no place to measure from.
    """

    statuses: tuple[str, ...] = ()
    numbers: NumberRanges | None = None
    divisions: tuple[str, ...] = ()
    side: Side | None = None
    edge_least_m: float | None = None
    edge_most_m: float | None = None
    temperature_least: float | None = None
    temperature_most: float | None = None
    area_least_m2: float | None = None
    area_most_m2: float | None = None
    since: np.datetime64 | None = None
    until: np.datetime64 | None = None
    sorties: tuple[str, ...] = ()
    near: tuple[float, float] | None = None
    near_most_m: float | None = None
    nearest: int = 0

    def __post_init__(self) -> None:
        """Refuse words and combinations that mean nothing."""
        unknown = sorted(set(self.statuses) - set(STATUS_WORDS))
        if unknown:
            remedy = f"Use these: {', '.join(STATUS_WORDS)}."
            raise OptionError(f"{unknown[0]!r} is no status", field="--status", remedy=remedy)
        if (self.near_most_m is not None or self.nearest) and self.near is None:
            raise OptionError("nothing says from where", field="--near", remedy="Give the place as --near.")

    @property
    def needs_edge(self) -> bool:
        """Whether the perimeter is asked for."""
        return self.side is not None or self.edge_least_m is not None or self.edge_most_m is not None

    def is_all(self) -> bool:
        """Tell whether nothing is asked."""
        return all(getattr(self, f.name) == f.default for f in fields(self))


class Selected(NamedTuple):
    """Hold which rows of a list are wanted, and what could not be judged."""

    rows: Mask
    problems: tuple[Problem, ...]


def select_spots(
    spots: Detections,
    selection: Selection,
    *,
    area: BaseGeometry | None = None,
    divisions: Divisions | None = None,
) -> Selected:
    """Return which spots are wanted.

    Parameters
    ----------
    spots
        The list.
    selection
        What is asked.
    area
        The perimeter.
    divisions
        Of the fire.

    Raises
    ------
    OptionError
        When the edge is asked for without a perimeter, or divisions that are not known.
    """
    rows = np.full(len(spots), True)
    problems: list[Problem] = []
    for is_met, is_known, what in _judge(spots, selection, area, divisions):
        unknown = int((rows & ~is_known).sum())
        if unknown:
            message = f"spots without {what} cannot be judged by it and are left out"
            problems.append(Problem(message=message, severity="note", count=unknown))
        rows &= is_met & is_known
    if selection.nearest and selection.near is not None:
        rows = _take_nearest(spots, rows, selection.near, selection.nearest)
    return Selected(rows, tuple(problems))


def _judge(
    spots: Detections, selection: Selection, area: BaseGeometry | None, divisions: Divisions | None
) -> Iterator[tuple[Mask, Mask, str]]:
    """Yield for each condition which spots meet it, which can be judged, and by what."""
    every = np.full(len(spots), True)
    if selection.statuses:
        status = np.where(spots.status == "", "unchecked", spots.status)
        yield np.isin(status.astype(str), selection.statuses), every, "a status"
    if selection.numbers is not None:
        yield _include_numbers(spots, selection.numbers), every, "a number"
    if selection.divisions:
        yield _lie_in_divisions(spots, selection.divisions, divisions), spots.has_position(), "a position"
    if selection.needs_edge:
        edge = _measure_edge(spots, area)
        is_near = _lies_between(edge.distance_m, selection.edge_least_m, selection.edge_most_m)
        if selection.side is not None:
            is_near &= edge.is_inside == (selection.side == "inside")
        yield is_near, np.isfinite(edge.distance_m), "a position"
    yield from _judge_numbers(spots, selection)
    if selection.since is not None or selection.until is not None:
        seen = np.where(np.isnat(spots.last_seen), spots.time, spots.last_seen)
        yield _is_between_times(seen, selection), ~np.isnat(seen), "a time"
    if selection.sorties:
        yield _seen_by(spots, selection.sorties), every, "a sortie"


def _judge_numbers(spots: Detections, selection: Selection) -> Iterator[tuple[Mask, Mask, str]]:
    if selection.temperature_least is not None or selection.temperature_most is not None:
        met = _lies_between(spots.temperature, selection.temperature_least, selection.temperature_most)
        yield met, np.isfinite(spots.temperature), "a temperature"
    if selection.area_least_m2 is not None or selection.area_most_m2 is not None:
        met = _lies_between(spots.area, selection.area_least_m2, selection.area_most_m2)
        yield met, np.isfinite(spots.area), "an area"
    if selection.near is not None and selection.near_most_m is not None:
        away = distances_m(spots.longitude, spots.latitude, *selection.near)
        yield _lies_between(away, None, selection.near_most_m), np.isfinite(away), "a position"


def _include_numbers(spots: Detections, numbers: NumberRanges) -> Mask:
    met = numbers.include(spots.id)
    aliases = spots.extra.get(ALIASES)
    if aliases is not None:
        for row, text in enumerate(aliases.tolist()):
            if text and numbers.include(np.array(split_aliases(text), dtype=object)).any():
                met[row] = True
    return met


def _lie_in_divisions(spots: Detections, wanted: tuple[str, ...], divisions: Divisions | None) -> Mask:
    known = divisions.names if divisions else ()
    unknown = sorted(set(wanted) - set(known))
    if unknown or divisions is None:
        remedy = f"Known: {', '.join(known)}." if known else "Give the divisions as --divisions FILE."
        raise OptionError(f"no division is called {unknown[0]!r}", field="--division", remedy=remedy)
    return np.isin(divisions.assign(spots.longitude, spots.latitude).astype(str), wanted)


def _measure_edge(spots: Detections, area: BaseGeometry | None) -> EdgeDistance:
    if area is None:
        raise OptionError(
            "a distance from the edge needs the perimeter", field="--perimeter", remedy="Give it as --perimeter FILE."
        )
    return measure_to_edge(spots.longitude, spots.latitude, area)


def _lies_between(values: Floats, least: float | None, most: float | None) -> Mask:
    with np.errstate(invalid="ignore"):
        return (values >= (-np.inf if least is None else least)) & (values <= (np.inf if most is None else most))


def _is_between_times(seen: NDArray[np.datetime64], selection: Selection) -> Mask:
    met = ~np.isnat(seen)
    if selection.since is not None:
        met &= seen >= selection.since
    if selection.until is not None:
        met &= seen <= selection.until
    return np.asarray(met)


def _seen_by(spots: Detections, sorties: tuple[str, ...]) -> Mask:
    wanted = set(sorties)
    met = np.fromiter((sortie in wanted for sortie in spots.sortie), np.bool_, len(spots))
    for row, text in enumerate(spots.extra.get(SEEN_BY, ())):
        if isinstance(text, str) and not wanted.isdisjoint(map(str.strip, text.replace(",", ";").split(";"))):
            met[row] = True
    return met


def _take_nearest(spots: Detections, rows: Mask, near: tuple[float, float], count: int) -> Mask:
    away = distances_m(spots.longitude, spots.latitude, *near)
    candidates = np.flatnonzero(rows & np.isfinite(away))
    nearest = candidates[np.argsort(away[candidates], kind="stable")[:count]]
    chosen = np.zeros(len(spots), np.bool_)
    chosen[nearest] = True
    return chosen
