"""Lengths as a person writes them on the command line."""

from __future__ import annotations

import re

from exchange.errors import OptionError


def to_metres(text: str, option: str) -> float:
    """Return a length written with or without its unit; without one it is metres.

    Raises
    ------
    OptionError
        When the text is no length.

    Examples
    --------
    >>> to_metres("20ft", "--within"), to_metres("5", "--within")
    (6.096, 5.0)
    """
    from exchange.geo.units import METRE, convert, parse_unit

    found = re.fullmatch(r"\s*([-+]?\d+\.?\d*|[-+]?\.\d+)\s*(\D*?)\s*", text)
    try:
        if found is None:
            raise ValueError("no number with a unit")
        unit = parse_unit(found[2], quantity="length") if found[2] else METRE
        return float(convert(float(found[1]), unit, METRE))
    except ValueError as error:
        raise OptionError(f"{text!r} is no length", field=option, remedy="Write it as 5m or 15ft.") from error
