"""One placemark as texts by key: what the careful way and the scanner both take of it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from exchange_kml.names import GEOMETRIES, name_of, split_tag
from exchange_kml.serialise import read_text, serialise

if TYPE_CHECKING:
    from lxml.etree import _Element

Taken = dict[str, str]

PLAIN = frozenset(("name", "description", "Snippet", "address", "phoneNumber", "visibility", "open", "styleUrl"))
DATA, DISPLAY_NAME, SIMPLE, XML = "data", "display name", "simple", "xml"
POINT, GEOMETRY, INLINE_STYLE, IDENTIFIER = "point", "geometry", "style", "@id"
GEOMETRY_FLAGS = ("altitudeMode", "extrude", "tessellate")
STREAMS = "streams"
"""Key of what is too long to be held in one piece, such as the fixes of a track: only the parser reads that."""

SEPARATOR = "\n"
"""Between the parts of a key that names a field."""


def take_placemark(placemark: _Element) -> Taken:
    """Return what a placemark says, texts by key.

    Texts are taken whole and never looked at, so that the scanner can put others of the same shape in their place.
    A single point gives its coordinates; any other geometry is kept as XML, without what streams out of it.
    """
    taken: Taken = {}
    for key, value in placemark.attrib.items():
        _put(taken, f"@{split_tag(str(key))[1]}", str(value))
    geometries = [child for child in placemark if name_of(child.tag) in GEOMETRIES]
    for child in placemark:
        name = name_of(child.tag)
        if name in PLAIN:
            _put(taken, name, read_text(child))
        elif name == "ExtendedData":
            _take_extended_data(child, taken)
        elif name in ("TimeStamp", "TimeSpan"):
            _take_children(child, ("when", "begin", "end"), taken)
        elif name in ("Style", "StyleMap"):
            taken[INLINE_STYLE] = taken.get(INLINE_STYLE, "") + serialise(child)
        elif name not in GEOMETRIES:
            _put(taken, f"{XML}{SEPARATOR}{_short_name(child)}", serialise(child))
    _take_geometry(geometries, taken)
    return taken


def _take_geometry(geometries: list[_Element], taken: Taken) -> None:
    if len(geometries) == 1 and name_of(geometries[0].tag) == "Point":
        taken[POINT] = ""
        _take_children(geometries[0], GEOMETRY_FLAGS, taken)
        texts = [read_text(child) for child in geometries[0] if name_of(child.tag) == "coordinates"]
        taken[POINT] = " ".join(texts)
    elif geometries:
        taken[GEOMETRY] = "".join(serialise(geometry) for geometry in geometries)
        if any(name_of(inner.tag) == "Track" for geometry in geometries for inner in geometry.iter()):
            taken[STREAMS] = ""


def _take_children(element: _Element, names: tuple[str, ...], taken: Taken) -> None:
    for child in element:
        if name_of(child.tag) in names:
            _put(taken, name_of(child.tag), read_text(child))


def _take_extended_data(extended: _Element, taken: Taken) -> None:
    for child in extended:
        name = name_of(child.tag)
        if name == "Data":
            _take_data(child, taken)
        elif name == "SchemaData":
            _take_schema_data(child, taken)
        else:
            _put(taken, f"{XML}{SEPARATOR}{_short_name(child)}", serialise(child))


def _take_data(data: _Element, taken: Taken) -> None:
    field = data.get("name", "")
    for child in data:
        name = name_of(child.tag)
        if name == "value":
            _put(taken, f"{DATA}{SEPARATOR}{field}", read_text(child))
        elif name == "displayName":
            _put(taken, f"{DISPLAY_NAME}{SEPARATOR}{field}", read_text(child))
        else:
            _put(taken, f"{XML}{SEPARATOR}{field}", serialise(child))


def _take_schema_data(data: _Element, taken: Taken) -> None:
    url = data.get("schemaUrl", "")
    for child in data:
        name = name_of(child.tag)
        if name == "SimpleData":
            _put(taken, f"{SIMPLE}{SEPARATOR}{url}{SEPARATOR}{child.get('name', '')}", read_text(child))
        elif name == "SimpleArrayData":
            taken[STREAMS] = ""
        else:
            _put(taken, f"{XML}{SEPARATOR}{_short_name(child)}", serialise(child))


def _short_name(element: _Element) -> str:
    return split_tag(str(element.tag))[1]


def _put(taken: Taken, key: str, text: str) -> None:
    """Enter a text; where the file says the same thing twice, the second gets a name of its own."""
    free, number = key, 2
    while free in taken:
        free, number = f"{key} ({number})", number + 1
    taken[free] = text
