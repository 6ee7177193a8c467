"""The names of GPX: namespaces, elements in the order of the schema, and which texts they may hold.

Source of the orders and types: the schemas of GPX 1.1 (topografix.com/GPX/1/1/gpx.xsd) and 1.0 (.../1/0/gpx.xsd).
"""

from __future__ import annotations

NAMESPACES = {"1.1": "http://www.topografix.com/GPX/1/1", "1.0": "http://www.topografix.com/GPX/1/0"}
NEWEST = "1.1"

OWN = "urn:hotspot-exchange:1"
"""The namespace of what the model holds and GPX has no element for."""

OWN_TAG = f"{{{OWN}}}"
FIELD, ROW = f"{OWN_TAG}f", f"{OWN_TAG}row"

POINTS = ("wpt", "trkpt", "rtept")
LAYERS = {"wpt": "waypoints", "rte": "routes", "trk": "tracks"}

_AFTER_TIME = {"1.1": (), "1.0": ("course", "speed")}
_POINT_TEXTS = ("name", "cmt", "desc", "src", "link", "sym", "type", "fix", "sat", "hdop", "vdop", "pdop")

GROUP_TEXTS = {
    "1.1": ("name", "cmt", "desc", "src", "link", "number", "type"),
    "1.0": ("name", "cmt", "desc", "src", "link", "number"),
}
"""Children of a route or a track before its extensions."""

METADATA = ("name", "desc", "author", "copyright", "link", "time", "keywords")
"""Children of metadata; the bounds, which follow from the rest, are neither read nor written."""

LINK_PARTS = ("link", "link_text", "link_type")
"""The names a link goes by: its address, its text and its media type."""

_DECIMAL = r"[+-]?(?:\d+(?:\.\d*)?|\.\d+)"
_DEGREES = r"\+?0*(?:[12]?\d?\d|3[0-5]\d)(?:\.\d*)?"
_URI_CHARACTER = r"(?:[A-Za-z0-9\-._~/?@!$&'()*+,;=]|%[0-9A-Fa-f]{2})"
PATTERNS = {
    "magvar": _DEGREES,
    "course": _DEGREES,
    "speed": _DECIMAL,
    "geoidheight": _DECIMAL,
    "fix": r"none|2d|3d|dgps|pps",
    "sat": r"\+?\d+",
    "number": r"\+?\d+",
    "hdop": _DECIMAL,
    "vdop": _DECIMAL,
    "pdop": _DECIMAL,
    "ageofdgpsdata": _DECIMAL,
    "dgpsid": r"0*(?:\d{1,3}|10[01]\d|102[0-3])",
    # A part of what anyURI allows that every validator agrees on.
    "link": rf"(?:(?:https?|ftp|file)://[A-Za-z0-9.\-]*(?::\d+)?(?=[/?#]|$))?{_URI_CHARACTER}*(?:#{_URI_CHARACTER}*)?",
}
"""What an element's text must match to be written as that element; others may hold any text."""


def list_point_texts(version: str, point: str) -> tuple[str, ...]:
    """Return the children of a point between its time and its extensions, in order."""
    first = _AFTER_TIME[version] if point == "trkpt" else ()
    return (*first, "magvar", "geoidheight", *_POINT_TEXTS, "ageofdgpsdata", "dgpsid")


def local_name(tag: object) -> str:
    """Return an element's name without its namespace; empty for what is no element."""
    return tag.rpartition("}")[2] if isinstance(tag, str) else ""
