"""KML (OGC 12-007r2) and its zipped form KMZ, with the icons inside."""

from __future__ import annotations

from collections.abc import Sequence

from exchange.formats.format import Format
from exchange.formats.hooks import hookimpl


@hookimpl
def exchange_formats() -> Sequence[Format]:
    """Return the two formats of this plugin."""
    from exchange_kml.format import Kml, Kmz

    return [Kml(), Kmz()]
