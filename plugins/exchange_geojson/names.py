"""What the house's own GeoJSON files call things beyond the standard."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

HEADER = "exchange"
"""Foreign member of the collection: the incident's name and which foreign fields hold instants."""

FIXES = "fixes"
"""Property of a track: its per-fix columns, each an array as long as the track."""

PIECE = "piece"
"""Property of a track written in several features: which piece this is, counted from 0."""

UNCUT = "uncut"
"""Property of a perimeter: its geometry as it was before it was cut at the 180th meridian."""

INSTANT = "exchange:instant"
"""The one key of an object that stands for an instant where JSON has text only."""

LITERAL = "exchange:value"
"""The one key of an object around a foreign object that would be taken for an instant."""

MEMBER = "member."
"""Before the name of a Feature's own foreign member, where it is kept beside the properties."""

GEOMETRY_TYPES = frozenset(
    ("Point", "MultiPoint", "LineString", "MultiLineString", "Polygon", "MultiPolygon", "GeometryCollection")
)


def is_geojson_type(value: Any) -> bool:
    """Tell whether a value is the ``type`` of a GeoJSON object."""
    return isinstance(value, str) and (value in GEOMETRY_TYPES or value in ("Feature", "FeatureCollection"))


def read_header(members: Mapping[str, Any]) -> tuple[str, dict[str, frozenset[str]]]:
    """Return the incident's name, and by kind of thing the foreign fields that hold instants."""
    header = members.get(HEADER)
    if not isinstance(header, dict):
        return "", {}
    instants = header.get("instants")
    fields = instants if isinstance(instants, dict) else {}
    names = {kind: frozenset(map(str, listed)) for kind, listed in fields.items() if isinstance(listed, list)}
    incident = header.get("incident")
    return incident if isinstance(incident, str) else "", names
