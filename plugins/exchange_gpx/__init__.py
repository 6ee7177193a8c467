"""GPX 1.0 and 1.1: tracks, routes and waypoints of handhelds and aircraft."""

from __future__ import annotations

from collections.abc import Sequence

from exchange.formats.format import Format
from exchange.formats.hooks import hookimpl


@hookimpl
def exchange_formats() -> Sequence[Format]:
    """Return the format that this plugin reads and writes."""
    from exchange_gpx.format import GpxFormat

    return [GpxFormat()]
