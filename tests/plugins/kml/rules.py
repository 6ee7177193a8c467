"""The rules of OGC 14-068r2 (abstract test suite of KML 2.3) and of OGC 12-007r2 that no XML schema can say.

Written for this project from the numbered tests; each check names the test it is for.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import datetime

from lxml import etree
from shapely.geometry import LinearRing, Polygon

NAMESPACE = "{http://www.opengis.net/kml/2.2}"
GX = "{http://www.google.com/kml/ext/2.2}"
# xsd:decimal has no exponent, NaN or infinity (ATC-103).
_DECIMAL = r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)"
_TUPLE = re.compile(f"{_DECIMAL},{_DECIMAL}(?:,{_DECIMAL})?")
_COORD = re.compile(f"(?:{_DECIMAL} {_DECIMAL} {_DECIMAL})?")
_COLOR = re.compile("[0-9a-fA-F]{8}")
# OGC 12-007r2, 9.11, in the spelling of KML 2.2.
_TYPES = frozenset(("string", "int", "uint", "short", "ushort", "float", "double", "bool"))


def broken_rules(root: etree._Element) -> list[str]:
    """Return what rules a document breaks."""
    checks = (_root, _coordinates, _rings, _polygons, _times, _data, _schemas, _styles, _tracks, _identifiers)
    return [broken for check in checks for broken in check(root)]


def _each(root: etree._Element, name: str) -> Iterator[etree._Element]:
    return root.iter(NAMESPACE + name)


def _root(root: etree._Element) -> Iterator[str]:
    if root.tag != f"{NAMESPACE}kml":
        yield f"ATC-101: root {root.tag}"


def _tuples(element: etree._Element) -> list[str]:
    return (element.findtext(f"{NAMESPACE}coordinates") or "").split()


def _coordinates(root: etree._Element) -> Iterator[str]:
    for element in _each(root, "coordinates"):
        for text in (element.text or "").split():
            if not _TUPLE.fullmatch(text):
                yield f"ATC-103: tuple {text}"
                continue
            longitude, latitude = map(float, text.split(",")[:2])
            if abs(longitude) > 180 or abs(latitude) > 90:
                yield f"ATC-103: not on the earth {text}"
    for name, wanted in (("Point", (1, 1)), ("LineString", (2, None)), ("LinearRing", (4, None))):
        for element in _each(root, name):
            count = len(_tuples(element))
            if count < wanted[0] or (wanted[1] is not None and count > wanted[1]):
                yield f"ATC-114 to 116: {name} with {count} tuples"


def _rings(root: etree._Element) -> Iterator[str]:
    for ring in _each(root, "LinearRing"):
        tuples = _tuples(ring)
        if tuples and tuples[0] != tuples[-1]:
            yield "ATC-116: a ring is not closed"


def _polygons(root: etree._Element) -> Iterator[str]:
    for polygon in _each(root, "Polygon"):
        outer = polygon.find(f"{NAMESPACE}outerBoundaryIs/{NAMESPACE}LinearRing")
        if outer is None:
            yield "ATC-117: no outer ring"
            continue
        around = LinearRing(_corners(outer))
        if not around.is_ccw:
            yield "ATC-301: the outer ring is not counter-clockwise"
        for hole in polygon.iterfind(f"{NAMESPACE}innerBoundaryIs/{NAMESPACE}LinearRing"):
            inside = LinearRing(_corners(hole))
            if inside.is_ccw:
                yield "ATC-301: an inner ring is not clockwise"
            if not Polygon(around).covers(inside):
                yield "ATC-117: an inner ring is not inside"


def _corners(ring: etree._Element) -> list[tuple[float, ...]]:
    return [tuple(map(float, text.split(",")[:2])) for text in _tuples(ring)]


def _times(root: etree._Element) -> Iterator[str]:
    for span in _each(root, "TimeSpan"):
        begin, end = (span.findtext(NAMESPACE + name) for name in ("begin", "end"))
        if begin is None and end is None:
            yield "ATC-105: a time span with neither begin nor end"
        elif begin and end and datetime.fromisoformat(begin) >= datetime.fromisoformat(end):
            yield f"ATC-105: {begin} is not before {end}"
    for when in _each(root, "when"):
        if not when.text:
            yield "ATC-104: an empty time"


def _data(root: etree._Element) -> Iterator[str]:
    for extended in _each(root, "ExtendedData"):
        names = [data.get("name", "") for data in extended.iterfind(f"{NAMESPACE}Data")]
        if "" in names or len(names) != len(set(names)):
            yield f"ATC-128, 208: names of data {names}"


def _schemas(root: etree._Element) -> Iterator[str]:
    declared: dict[str, set[str]] = {}
    for schema in _each(root, "Schema"):
        fields = [*schema.iterfind(f"{NAMESPACE}SimpleField"), *schema.iterfind(f"{GX}SimpleArrayField")]
        names = [field.get("name") for field in fields]
        if not schema.get("id") or not all(names) or len(names) != len(set(names)):
            yield f"ATC-125: schema {schema.get('id')} with {names}"
        if not {field.get("type") for field in fields} <= _TYPES:
            yield f"ATC-126: types of {schema.get('id')}"
        declared[f"#{schema.get('id')}"] = {str(name) for name in names}
    for data in _each(root, "SchemaData"):
        used = {
            str(d.get("name"))
            for d in (*data.iterfind(f"{NAMESPACE}SimpleData"), *data.iterfind(f"{GX}SimpleArrayData"))
        }
        undeclared = used - declared.get(data.get("schemaUrl", ""), set())
        if undeclared:
            yield f"ATC-127: {undeclared} of {data.get('schemaUrl')} are not declared"


def _styles(root: etree._Element) -> Iterator[str]:
    known = {f"#{element.get('id')}" for element in root.iter() if element.get("id")}
    for element in _each(root, "color"):
        if not _COLOR.fullmatch(element.text or ""):
            yield f"colorType: {element.text}"
    for name, test in (("Style", "ATC-224"), ("PolyStyle", "ATC-201")):
        if any(not len(element) for element in _each(root, name)):
            yield f"{test}: an empty {name}"
    for url in _each(root, "styleUrl"):
        if (url.text or "").startswith("#") and url.text not in known:
            yield f"a style that is not there: {url.text}"


def _tracks(root: etree._Element) -> Iterator[str]:
    for track in root.iter(f"{GX}Track"):
        whens, coords = track.findall(f"{NAMESPACE}when"), track.findall(f"{GX}coord")
        if len(whens) != len(coords):
            yield f"ATC-146: {len(whens)} times for {len(coords)} positions"
        if not all(_COORD.fullmatch(coord.text or "") for coord in coords):
            yield "ATC-147: a fix is not three numbers"
        for array in track.iter(f"{GX}SimpleArrayData"):
            if len(array.findall(f"{GX}value")) != len(coords):
                yield f"ATC-146: {array.get('name')} has another length than its track"


def _identifiers(root: etree._Element) -> Iterator[str]:
    known = [element.get("id") for element in root.iter() if element.get("id")]
    if len(known) != len(set(known)):
        yield "xsd:ID: identifiers stand twice"
