"""GIS layers through fiona: GeoPackage, shapefiles, FlatGeobuf."""

from __future__ import annotations

from exchange.formats.format import Format
from exchange.formats.hooks import hookimpl


@hookimpl
def exchange_formats() -> list[Format]:
    """Return the formats of this plugin."""
    from exchange_ogr.formats import FlatGeobuf, GeoPackage, Shapefile

    return [FlatGeobuf(), GeoPackage(), Shapefile()]
