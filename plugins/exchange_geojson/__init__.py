"""GeoJSON (RFC 7946) and GeoJSON text sequences (RFC 8142)."""

from __future__ import annotations

from collections.abc import Sequence

from exchange.formats.format import Format
from exchange.formats.hooks import hookimpl


@hookimpl
def exchange_formats() -> Sequence[Format]:
    """Return the two formats of this plugin."""
    from exchange_geojson.format import GeoJson, GeoJsonSequence

    return [GeoJson(), GeoJsonSequence()]
