"""The options of ``exchange handout`` that say which spots, and what becomes of their words."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from functools import reduce
from typing import TYPE_CHECKING, Any, TypeVar

import click

from exchange.cli.lengths import to_metres
from exchange.errors import OptionError

if TYPE_CHECKING:
    import numpy as np

    from exchange.handout import Selection

AnyCommand = TypeVar("AnyCommand", bound=Callable[..., Any])

_SELECTING = (
    click.option("--status", "statuses", metavar="WORD", multiple=True, help="Only spots of this status."),
    click.option("--numbers", metavar="RANGE", multiple=True, help="Only these numbers: H-010..H-040,H-077."),
    click.option("--division", "divisions", metavar="NAME", multiple=True, help="Only spots of this division."),
    click.option("--side", type=click.Choice(("inside", "outside")), help="Only spots on this side of the perimeter."),
    click.option("--edge-least", metavar="LENGTH", help="Only spots at least so far from the perimeter's edge: 100ft."),
    click.option("--edge-most", metavar="LENGTH", help="Only spots at most so far from the perimeter's edge."),
    click.option("--temperature-least", metavar="DEGREES", help="Only spots as hot or hotter, with the unit: 300F."),
    click.option("--temperature-most", metavar="DEGREES", help="Only spots as hot or cooler, with the unit."),
    click.option("--area-least", metavar="AREA", help="Only spots as large or larger, with the unit: 2m2."),
    click.option("--area-most", metavar="AREA", help="Only spots as large or smaller, with the unit."),
    click.option("--since", metavar="TIME", help="Only spots last seen then or later: 2026-08-14T18:00Z."),
    click.option("--until", metavar="TIME", help="Only spots last seen then or earlier."),
    click.option("--seen-by", "sorties", metavar="SORTIE", multiple=True, help="Only spots that this sortie saw."),
    click.option("--near", metavar="POSITION", help="Place to measure from, in any form: N 44 31.5 W 114 00.2."),
    click.option("--within", metavar="LENGTH", help="Only spots at most so far from there."),
    click.option("--nearest", metavar="COUNT", type=click.IntRange(1), help="Only so many, the nearest to there."),
)


def selecting_options(command: AnyCommand) -> AnyCommand:
    """Give a command every option that says which spots are wanted."""
    return reduce(lambda wrapped, option: option(wrapped), reversed(_SELECTING), command)


def to_selection(values: dict[str, Any], *, zone: str) -> Selection:
    """Take the values of ``selecting_options`` out of a command's keyword arguments.

    Parameters
    ----------
    values
        The keyword arguments.
    zone
        Of times that carry none.

    Raises
    ------
    OptionError
        When a value is none of its kind.
    """
    from exchange.handout import Selection
    from exchange.handout.number_ranges import NumberRanges

    taken: dict[str, Any] = {name: values.pop(name) for name in _NAMES}
    numbers = taken.pop("numbers")
    return Selection(
        statuses=taken["statuses"],
        numbers=NumberRanges.parse(numbers) if numbers else None,
        divisions=taken["divisions"],
        side=taken["side"],
        edge_least_m=_read(taken, "edge_least", to_metres),
        edge_most_m=_read(taken, "edge_most", to_metres),
        temperature_least=_read(taken, "temperature_least", to_celsius),
        temperature_most=_read(taken, "temperature_most", to_celsius),
        area_least_m2=_read(taken, "area_least", to_square_metres),
        area_most_m2=_read(taken, "area_most", to_square_metres),
        since=_read(taken, "since", lambda text, option: to_instant(text, option, zone)),
        until=_read(taken, "until", lambda text, option: to_instant(text, option, zone)),
        sorties=taken["sorties"],
        near=_read(taken, "near", to_place),
        near_most_m=_read(taken, "within", to_metres),
        nearest=taken["nearest"] or 0,
    )


_NAMES = (
    *("statuses", "numbers", "divisions", "side", "edge_least", "edge_most", "temperature_least", "temperature_most"),
    *("area_least", "area_most", "since", "until", "sorties", "near", "within", "nearest"),
)


def _read(values: Mapping[str, Any], name: str, read: Callable[[str, str], Any]) -> Any:
    text = values[name]
    return None if text is None else read(text, f"--{name.replace('_', '-')}")


def to_celsius(text: str, option: str) -> float:
    """Return a temperature written with its unit, in degrees Celsius.

    Raises
    ------
    OptionError
        When the text is no temperature, or states no unit.

    Examples
    --------
    >>> round(to_celsius("300F", "--temperature-least"), 1)
    148.9
    """
    return _convert(text, option, "temperature", "degC", "Write it with its unit: 149C or 300F.")


def to_square_metres(text: str, option: str) -> float:
    """Return an area written with its unit, in square metres; raises as ``to_celsius`` does."""
    return _convert(text, option, "area", "m2", "Write it with its unit: 2m2 or 20ft2.")


def to_instant(text: str, option: str, zone: str) -> np.datetime64:
    """Return a time in UTC; one without a zone needs ``--assume-tz``.

    Raises
    ------
    OptionError
        When the text is no time, or its zone is not known.
    """
    from exchange.formats.time_text import parse_times, parse_zone

    parsed = parse_times([text], zone=parse_zone(zone) if zone else None)
    if len(parsed.unreadable) or len(parsed.without_zone):
        what = "is no time" if len(parsed.unreadable) else "does not say its zone"
        remedy = "Write it as 2026-08-14T18:00Z, or state the zone with --assume-tz."
        raise OptionError(f"{text!r} {what}", field=option, remedy=remedy)
    instant: np.datetime64 = parsed.time[0]
    return instant


def to_place(text: str, option: str) -> tuple[float, float]:
    """Return longitude and latitude of a place written in any form.

    Raises
    ------
    OptionError
        When the text is no position, or can be read in more than one way.
    """
    from exchange.errors import AmbiguityError, CoordinateError
    from exchange.geo.coordinates import parse_position

    try:
        place = parse_position(text)
    except (AmbiguityError, CoordinateError) as error:
        remedy = "Write N or S and E or W, as in N 44.51 W 114.02, or a grid reference."
        raise OptionError(error.message, field=option, remedy=remedy) from error
    return place.longitude, place.latitude


def _convert(text: str, option: str, quantity: Any, unit: str, remedy: str) -> float:
    from exchange.geo.units import convert, parse_unit

    found = re.fullmatch(r"\s*([-+]?\d+\.?\d*|[-+]?\.\d+)\s*(\D.*?)\s*", text)
    try:
        if found is None:
            raise ValueError("no number with a unit")
        return float(convert(float(found[1]), parse_unit(found[2], quantity=quantity), parse_unit(unit)))
    except ValueError as error:
        raise OptionError(f"{text!r} is no {quantity}", field=option, remedy=remedy) from error
