"""Names of KML's elements whatever namespace they come in, and what the house's own files call things."""

from __future__ import annotations

import re
from functools import lru_cache

KML = "http://www.opengis.net/kml/2.2"
EXTENSION = "http://www.google.com/kml/ext/2.2"
# OGC 12-007r2 writes 2.2, with version="2.3" for 2.3; OGC 14-068r2 names 2.3; older files use what came before.
_KML = re.compile(r"https?://(?:[a-z.]+/)kml/2\.[0-9]/?|")
_EXTENSION = re.compile(r"https?://(?:[a-z.]+/)kml/ext/2\.[0-9]/?")

CONTAINERS = frozenset(("Document", "Folder"))
SKIPPED = frozenset(("GroundOverlay", "ScreenOverlay", "PhotoOverlay", "Tour", "NetworkLinkControl"))
"""Features that hold nothing the trade exchanges; they are told."""

GEOMETRIES = frozenset(
    ("Point", "LineString", "LinearRing", "Polygon", "MultiGeometry", "Track", "MultiTrack", "Model")
)

HOUSE = "exchange"
"""Identifier of the document in the house's own files, and what all other identifiers there begin with."""

STATUS_FOLDER = f"{HOUSE}-status-"
"""What identifiers of the folders by status begin with."""

NO_STATUS_FOLDER = "no status"
"""Name of the folder of spots without a status word."""

KIND_FOLDERS = {
    "detection": "Hotspots",
    "note": "Status notes",
    "place": "Places",
    "track": "Tracks",
    "perimeter": "Perimeters",
}
"""Folder of each kind of thing."""


@lru_cache(maxsize=4096)
def split_tag(tag: str) -> tuple[str, str]:
    """Return the namespace and the local name of an lxml tag.

    >>> split_tag("{http://www.opengis.net/kml/2.2}Point"), split_tag("Point")
    (('http://www.opengis.net/kml/2.2', 'Point'), ('', 'Point'))
    """
    namespace, _, local = tag[1:].partition("}") if tag.startswith("{") else ("", "", tag)
    return namespace, local


@lru_cache(maxsize=4096)
def name_of(tag: str) -> str:
    """Return the local name of an element of KML or of its extensions, and the whole tag of any other.

    KML 2.3 took the extension's elements over, so the two are not told apart.

    >>> name_of("{http://www.google.com/kml/ext/2.2}Track"), name_of("{http://earth.google.com/kml/2.1}Point")
    ('Track', 'Point')
    """
    namespace, local = split_tag(tag)
    return local if is_kml(namespace) or is_extension(namespace) else tag


def is_kml(namespace: str) -> bool:
    """Tell whether a namespace is one of KML's, old ones and none at all included."""
    return _KML.fullmatch(namespace) is not None


def is_extension(namespace: str) -> bool:
    """Tell whether a namespace is that of KML's extensions."""
    return _EXTENSION.fullmatch(namespace) is not None


def house_schema(kind: str, type_name: str = "") -> str:
    """Return the identifier of the schema that declares a kind's fields, or those of one type that KML lacks."""
    return f"{HOUSE}-{kind}-{type_name}" if type_name else f"{HOUSE}-{kind}"


def house_status_style(status: str) -> str:
    """Return the identifier of the style a status is drawn in.

    >>> house_status_style("no heat")
    'exchange-style-no-heat'
    """
    return f"{HOUSE}-style-{(status or 'no status').replace(' ', '-')}"
