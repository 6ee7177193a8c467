"""What is wanted of one element of a GPX file: its texts by key.

Keys: ``@lat`` for an attribute; ``ele`` for a child of GPX; ``link``, ``link_text``, ``link_type`` for a link;
``x:status`` for a column of the model in the house's own namespace and ``f:int:count`` for a typed foreign field in
it; ``extensions`` for all other foreign elements, as canonical XML one after the other; ``leaf:speed`` for the text
of each simple element among those. Texts are opaque here, so that what is taken of one record stands for all of
its shape (see ``exchange.formats.xml.shapes``).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from exchange.formats.xml.canonical import canonicalise
from exchange_gpx.names import FIELD, OWN_TAG, list_point_texts, local_name

if TYPE_CHECKING:
    from lxml.etree import _Element

LEAF, COLUMN, TYPED = "leaf:", "x:", "f:"
EXTENSIONS = "extensions"

_GROUPS = frozenset({"trkseg", "trkpt", "rtept", "wpt", "trk", "rte"})
_OWN_WORDS = frozenset({"ele", "time", *list_point_texts("1.0", "trkpt")})
# Attributes that state a unit; 'uom' is that of the OGC's and ISO's schemas.
_UNIT_WORDS = ("uom", "unit", "units")


def take_element(element: _Element) -> dict[str, str]:
    """Return the texts of a point, or of what a track, a route or a segment says of itself."""
    taken = {f"@{name!s}": str(value) for name, value in element.attrib.items()}  # lxml-stubs say: or bytes
    home = str(element.tag).rpartition("}")[0]
    foreign: list[_Element] = []
    for child in element:
        space, _, name = str(child.tag).rpartition("}")
        if space != home or space == OWN_TAG[:-1]:
            foreign.append(child)
        elif name == "extensions":
            foreign += child
            _put(taken, "extensions text", child.text or "", when=not len(child))
        elif name not in _GROUPS:
            _take_child(child, name, taken)
    _take_foreign(foreign, taken)
    return taken


def _take_child(child: _Element, name: str, taken: dict[str, str]) -> None:
    if name == "link":
        _take_link(child, taken)
    elif len(child):
        _put(taken, f"{name} xml", canonicalise(child))
    else:
        _put(taken, {"url": "link", "urlname": "link_text"}.get(name, name), child.text or "")


def _take_link(link: _Element, taken: dict[str, str]) -> None:
    number = sum(key == "link" or key.startswith("link#") for key in taken)
    suffix = f"#{number + 1}" if number else ""
    taken[f"link{suffix}"] = link.get("href", "")
    for part in link:
        _put(taken, f"link_{local_name(part.tag)}{suffix}", part.text or "")


def _take_foreign(elements: list[_Element], taken: dict[str, str]) -> None:
    kept = []
    for element in elements:
        if element.tag == FIELD:
            _put(taken, f"{TYPED}{element.get('t', 'string')}:{element.get('n', '')}", element.text or "")
        elif str(element.tag).startswith(OWN_TAG):
            _put(taken, COLUMN + local_name(element.tag), element.text or "")
        else:
            kept += [canonicalise(element), _read_stray_text(element)]
            _take_leaves(element, taken)
    if kept:
        taken[EXTENSIONS] = "".join(kept)


def _read_stray_text(element: _Element) -> str:
    """Return the text behind an element where only white space should stand, as it would be written."""
    tail = element.tail or ""
    return tail.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;") if tail.strip() else ""


def _take_leaves(element: _Element, taken: dict[str, str]) -> None:
    for leaf in element.iter():
        name = local_name(leaf.tag)
        if not len(leaf) and name not in _OWN_WORDS:
            unit = next((leaf.get(word) for word in _UNIT_WORDS if leaf.get(word)), "")
            taken.setdefault(f"{LEAF}{name} ({unit})" if unit else LEAF + name, leaf.text or "")


def _put(taken: dict[str, str], key: str, text: str, *, when: bool = True) -> None:
    """Keep a text under its key, or under a numbered one when the key is taken."""
    if when:
        number = 2
        free = key
        while free in taken:
            free, number = f"{key}#{number}", number + 1
        taken[free] = text
