"""Whether a foreign style may stand in a file of ours: element order and values as the schema of KML 2.2 wants them."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from exchange_kml.names import is_kml, split_tag

if TYPE_CHECKING:
    from lxml.etree import _Element

_LINK = ("href", "refreshMode", "refreshInterval", "viewRefreshMode", "viewRefreshTime", "viewBoundScale")
# OGC 07-147r2, ogckml22.xsd: the order of children in each element.
_ORDER = {
    "Style": ("IconStyle", "LabelStyle", "LineStyle", "PolyStyle", "BalloonStyle", "ListStyle"),
    "IconStyle": ("color", "colorMode", "scale", "heading", "Icon", "hotSpot"),
    "LabelStyle": ("color", "colorMode", "scale"),
    "LineStyle": ("color", "colorMode", "width"),
    "PolyStyle": ("color", "colorMode", "fill", "outline"),
    "BalloonStyle": ("bgColor", "textColor", "text", "displayMode"),
    "ListStyle": ("listItemType", "bgColor", "ItemIcon", "maxSnippetLines"),
    "ItemIcon": ("state", "href"),
    "Icon": _LINK,
    "StyleMap": ("Pair",),
    "Pair": ("key", "styleUrl", "Style"),
}
_REPEATED = frozenset(("Pair", "ItemIcon"))
_NEVER_EMPTY = frozenset(("Style", "StyleMap", "PolyStyle", "Pair"))
_COLOR, _NUMBER, _TRUTH = r"[0-9a-fA-F]{8}", r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)", r"[01]|true|false"
_VALUES = {
    **dict.fromkeys(("color", "bgColor", "textColor"), _COLOR),
    "colorMode": "normal|random",
    **dict.fromkeys(("scale", "width", "refreshInterval", "viewRefreshTime", "viewBoundScale"), _NUMBER),
    "heading": r"[+-]?(?:[0-9]|[1-9][0-9]|[12][0-9]{2}|3[0-5][0-9])(?:\.[0-9]*)?|360",
    **dict.fromkeys(("fill", "outline"), _TRUTH),
    "displayMode": "default|hide",
    "listItemType": "radioFolder|check|checkHideChildren|checkOffOnly",
    "key": "normal|highlight",
    "maxSnippetLines": "[0-9]{1,9}",
    "refreshMode": "onChange|onInterval|onExpire",
    "viewRefreshMode": "never|onRequest|onStop|onRegion",
    "state": "open|closed|error|fetching0|fetching1|fetching2",
    "styleUrl": r"""[^\s<>"{}|\\^`]+""",
    "href": r"[\s\S]*",
    "text": r"[\s\S]*",
}
_IDENTIFIER = re.compile(r"[A-Za-z_][\w.-]*", re.ASCII)
_UNITS = frozenset(("fraction", "pixels", "insetPixels"))


def is_lawful(element: _Element) -> bool:
    """Tell whether a Style, a StyleMap or a part of one is valid as KML 2.2 and keeps the rules of OGC 14-068r2."""
    namespace, name = split_tag(str(element.tag))
    if not is_kml(namespace) or not _has_lawful_attributes(element, name):
        return False
    if name in _VALUES:
        return not len(element) and re.fullmatch(_VALUES[name], element.text or "") is not None
    return name == "hotSpot" or (name in _ORDER and _has_lawful_children(element, name))


def _has_lawful_children(element: _Element, name: str) -> bool:
    names = [split_tag(str(child.tag))[1] for child in element]
    order = _ORDER[name]
    if any(child not in order for child in names) or (name in _NEVER_EMPTY and not names):
        return False
    places = [order.index(child) for child in names]
    if places != sorted(places) or any(names.count(child) > 1 for child in set(names) - _REPEATED):
        return False
    if name == "Pair" and ("key" not in names or len(names) != 2):
        return False
    return all(map(is_lawful, element))


def _has_lawful_attributes(element: _Element, name: str) -> bool:
    attributes = {str(key): str(value) for key, value in element.attrib.items()}
    if name == "hotSpot":
        units = {attributes.pop("xunits", "fraction"), attributes.pop("yunits", "fraction")}
        numbers = [attributes.pop("x", "1"), attributes.pop("y", "1")]
        return not attributes and units <= _UNITS and all(re.fullmatch(_NUMBER, number) for number in numbers)
    identifier = attributes.pop("id", "a")
    return not attributes and _IDENTIFIER.fullmatch(identifier) is not None
