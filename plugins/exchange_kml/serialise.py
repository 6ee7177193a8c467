"""Elements of KML as short text that does not depend on the prefixes or the version of the file they came in."""

from __future__ import annotations

from typing import TYPE_CHECKING

from exchange.formats.xml.canonical import canonicalise
from exchange_kml.names import EXTENSION, KML, is_extension, is_kml, split_tag

if TYPE_CHECKING:
    from lxml.etree import _Element

CONTEXT = (f'<kml xmlns="{KML}" xmlns:gx="{EXTENSION}">'.encode(), b"</kml>")
"""What such text must stand between to be a document."""

_TEXT = str.maketrans({"&": "&amp;", "<": "&lt;", ">": "&gt;", "\r": "&#13;"})
_ATTRIBUTE = str.maketrans(
    {"&": "&amp;", "<": "&lt;", ">": "&gt;", '"': "&quot;", "\t": "&#9;", "\n": "&#10;", "\r": "&#13;"}
)


def escape_text(text: str) -> str:
    """Return text with the marks of XML escaped, as in canonical XML."""
    return text.translate(_TEXT)


def escape_attribute(text: str) -> str:
    """Return text as it can stand in a quoted attribute value."""
    return text.translate(_ATTRIBUTE)


def serialise(element: _Element) -> str:
    """Return an element and all in it as text, without the white space between its children.

    KML's own elements carry no prefix, those of its extensions ``gx``; foreign ones become canonical XML.
    """
    namespace, local = split_tag(str(element.tag))
    if not (is_kml(namespace) or is_extension(namespace)):
        return canonicalise(element)
    name = f"gx:{local}" if is_extension(namespace) else local
    attributes = sorted((split_tag(str(key))[1], str(value)) for key, value in element.attrib.items())
    head = name + "".join(f' {key}="{escape_attribute(value)}"' for key, value in attributes)
    return f"<{head}>{serialise_content(element)}</{name}>"


def serialise_content(element: _Element) -> str:
    """Return what stands between an element's tags, as ``serialise`` does."""
    if not len(element):
        return escape_text(element.text or "")
    parts = [_significant(element.text)]
    for child in element:
        parts += [serialise(child), _significant(child.tail)]
    return "".join(parts)


def read_text(element: _Element) -> str:
    """Return an element's text; where unescaped markup stands in it, that too, as text."""
    return serialise_content(element) if len(element) else element.text or ""


def _significant(text: str | None) -> str:
    return escape_text(text) if text and text.strip() else ""
