"""Why certain sightings are one spot: for a person who doubts it."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from exchange.errors import OptionError
from exchange.geo.frame import LocalFrame
from exchange.merge.listing import FLAGS, SPOT
from exchange.merge.merged import Merged
from exchange.merge.sightings import RADIUS_95
from exchange.merge.writing import SHIFT_EAST, SHIFT_NORTH
from exchange.model.spot_number import find_aliases

_CERTAIN = math.log(1000.0)


@dataclass(frozen=True, kw_only=True)
class Member:
    """Tell why one sighting is part of the spot.

    Attributes
    ----------
    source
        File, layer and record.
    sortie, time, temperature
        As the sighting says; time as ISO text in UTC, NaN and empty text where unknown.
    east_m, north_m
        From the spot, after the sortie's shift was taken off.
    shift_east_m, shift_north_m
        What was taken off.
    distance
        From the spot in standard deviations of both; 95 in 100 lie within 2.45.
    runner_up
        Number of the spot that explains it second best, or empty.
    runner_up_worse
        How much worse, in natural logarithms of the likelihood.
    flags
        What a person should look at.
    """

    source: str
    sortie: str
    time: str
    temperature: float
    east_m: float
    north_m: float
    shift_east_m: float
    shift_north_m: float
    distance: float
    runner_up: str
    runner_up_worse: float
    flags: str

    @property
    def distance_m(self) -> float:
        """Metres from the spot."""
        return math.hypot(self.east_m, self.north_m)


@dataclass(frozen=True, kw_only=True)
class Explanation:
    """Tell why the sightings of one spot are one spot.

    Attributes
    ----------
    number
        Of the spot.
    asked
        What was asked for: the number or one of its aliases.
    longitude, latitude, accuracy_m
        Of the spot.
    flags
        What a person should look at.
    members
        In the order of the rows given.
    """

    number: str
    asked: str
    longitude: float
    latitude: float
    accuracy_m: float
    flags: str
    members: tuple[Member, ...]

    def as_dict(self) -> dict[str, Any]:
        """Return everything by name; what is not finite becomes ``None``."""
        told = asdict(self)
        told["members"] = [{name: _plain(value) for name, value in member.items()} for member in told["members"]]
        return {name: _plain(value) for name, value in told.items()}

    def lines(self) -> list[str]:
        """Return the explanation for people, a line each."""
        return [*self._describe_spot(), *(line for member in self.members for line in _describe(member))]

    def _describe_spot(self) -> Iterator[str]:
        folded = f" ({self.asked} was folded into it)" if self.asked != self.number else ""
        good_to = f", good to {self.accuracy_m:.1f} m (95 in 100)" if math.isfinite(self.accuracy_m) else ""
        yield f"{self.number}{folded}: latitude {self.latitude:.7f}, longitude {self.longitude:.7f}{good_to}"
        if self.flags:
            yield f"  check: {self.flags}"
        count = len(self.members)
        if not count:
            yield "  none of its sightings was given; it stands as the earlier list has it"
            return
        yield f"  made of {count} sighting{'s' if count > 1 else ''}, {_count_sorties(self.members)}:"


def explain_spot(merged: Merged, number: str) -> Explanation:
    """Return why the sightings of a spot are one spot.

    Parameters
    ----------
    merged
        What a merge returned.
    number
        The spot's number, or one that was folded into it.

    Raises
    ------
    OptionError
        When the list has no such number.
    """
    standing = find_aliases(merged.spots).get(number, number)
    (found,) = np.nonzero(merged.spots.id == standing)
    if not len(found):
        raise OptionError(
            f"{number!r} is no number of the list",
            field="--explain",
            remedy=f"Its numbers go from {merged.spots.id[0]} to {merged.spots.id[-1]}." if len(merged.spots) else None,
        )
    row = int(found[0])
    return Explanation(
        number=standing,
        asked=number,
        longitude=float(merged.spots.longitude[row]),
        latitude=float(merged.spots.latitude[row]),
        accuracy_m=float(merged.spots.accuracy[row]),
        flags=_text(merged.spots.extra.get(FLAGS), row),
        members=tuple(_tell_members(merged, row)),
    )


def _tell_members(merged: Merged, spot: int) -> Iterator[Member]:
    sightings, extra = merged.sightings, merged.sightings.extra
    rows = np.flatnonzero(extra[SPOT] == merged.spots.id[spot]) if SPOT in extra else np.empty(0, np.int64)
    frame = LocalFrame(float(merged.spots.longitude[spot]), float(merged.spots.latitude[spot]))
    east, north = frame.to_metres(sightings.longitude[rows], sightings.latitude[rows])
    for row, x, y in zip(rows.tolist(), east.tolist(), north.tolist(), strict=True):
        shift_east, shift_north = _number(extra.get(SHIFT_EAST), row), _number(extra.get(SHIFT_NORTH), row)
        time = sightings.time[row]
        yield Member(
            source=str(sightings.source[row]),
            sortie=sightings.sortie[row] or sightings.aircraft[row],
            time="" if np.isnat(time) else f"{np.datetime_as_string(time, unit='s')}Z",
            temperature=float(sightings.temperature[row]),
            east_m=x - shift_east,
            north_m=y - shift_north,
            shift_east_m=shift_east,
            shift_north_m=shift_north,
            distance=float(merged.evidence.distance[row]),
            runner_up=merged.evidence.runner_up[row],
            runner_up_worse=float(merged.evidence.runner_up_worse[row]),
            flags=_text(extra.get(FLAGS), row),
        )


def _describe(member: Member) -> Iterator[str]:
    seen = [member.sortie or "no sortie named", member.time]
    seen += [f"{member.temperature:.0f} °C"] if math.isfinite(member.temperature) else []
    yield f"  {member.source}: {', '.join(filter(None, seen))}"
    within = "" if not math.isfinite(member.distance) else (
        f", {member.distance:.1f} of its standard deviations (95 in 100 lie within {RADIUS_95:.2f})"
    )  # fmt: skip
    shift = math.hypot(member.shift_east_m, member.shift_north_m)
    after = f" after a shift of {shift:.1f} m was taken off" if shift else ""
    yield f"    {member.distance_m:.1f} m from the spot{within}{after}"
    yield f"    {_describe_runner_up(member)}"
    if member.flags:
        yield f"    check: {member.flags}"


def _describe_runner_up(member: Member) -> str:
    if not member.runner_up:
        return "no other spot is near enough to explain it"
    if member.runner_up_worse > _CERTAIN:
        return f"next best is {member.runner_up}, more than 1000 times less likely"
    return f"next best is {member.runner_up}, {math.exp(max(member.runner_up_worse, 0.0)):.1f} times less likely"


def _count_sorties(members: tuple[Member, ...]) -> str:
    names = {member.sortie for member in members}
    return f"by {len(names)} sortie{'s' if len(names) > 1 else ''}"


def _text(column: Any, row: int) -> str:
    return "" if column is None else str(column[row] or "")


def _number(column: Any, row: int) -> float:
    value = 0.0 if column is None or column[row] is None else float(column[row])
    return 0.0 if math.isnan(value) else value


def _plain(value: Any) -> Any:
    return None if isinstance(value, float) and not math.isfinite(value) else value
