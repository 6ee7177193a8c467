"""Styles as columns: which style a feature is drawn in, its XML, and the colours and icon that result.

Colours come out as ``#rrggbb``, or ``#rrggbbaa`` where they are not opaque; KML writes ``aabbggrr``.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from typing import TYPE_CHECKING

from exchange.formats.xml.parse import parse_fragment
from exchange_kml.names import name_of
from exchange_kml.serialise import CONTEXT, serialise

if TYPE_CHECKING:
    from lxml.etree import _Element

STYLE_URL, STYLE, INLINE = "style_url", "style", "style_inline"
_DRAWN = {
    "icon_color": ("IconStyle", "color"),
    "icon_scale": ("IconStyle", "scale"),
    "icon_href": ("IconStyle", "Icon", "href"),
    "label_color": ("LabelStyle", "color"),
    "line_color": ("LineStyle", "color"),
    "line_width": ("LineStyle", "width"),
    "fill_color": ("PolyStyle", "color"),
}
STYLE_COLUMNS = (STYLE_URL, STYLE, INLINE, *_DRAWN)
"""Foreign columns that a style gives."""

_COLOR = re.compile("[0-9a-fA-F]{8}")


@dataclass
class SharedStyles:
    """The shared styles of a file by identifier, each as text."""

    xml: dict[str, str] = field(default_factory=dict)

    def add(self, element: _Element) -> None:
        """Enter a Style or StyleMap that has an identifier; the first of one identifier stays."""
        identifier = element.get("id")
        if identifier:
            self.xml.setdefault(identifier, serialise(element))

    def find(self, url: str) -> str | None:
        """Return the XML of the style a URL of this file names, a map followed by what it maps to, or ``None``."""
        identifier = url.rpartition("#")[2] if "#" in url else url
        if (url.partition("#")[0] and "#" in url) or identifier not in self.xml:
            return None
        own = self.xml[identifier]
        return own + "".join(self.xml[name] for name in _names_in_map(own) if name in self.xml and name != identifier)


@lru_cache(maxsize=1024)
def _names_in_map(xml: str) -> tuple[str, ...]:
    if not xml.startswith("<StyleMap"):
        return ()
    urls = (element.text or "" for element in parse_elements(xml)[0].iter() if name_of(element.tag) == "styleUrl")
    return tuple(dict.fromkeys(url.strip()[1:] for url in urls if url.strip().startswith("#")))


def parse_elements(xml: str) -> list[_Element]:
    """Return the elements that ``serialise`` wrote one after the other.

    Raises
    ------
    ReadError
        When it is no well-formed XML, or unsafe.
    """
    return list(parse_fragment(CONTEXT[0] + xml.encode() + CONTEXT[1]))


@lru_cache(maxsize=65_536)
def describe_style(url: str, shared: str, inline: str) -> Mapping[str, str]:
    """Return the foreign columns that a style gives; an inline style outweighs the shared one.

    Parameters
    ----------
    url
        The feature's ``styleUrl``, or empty.
    shared
        XML of what it names, as ``SharedStyles.find`` returns it, or empty.
    inline
        XML of the feature's own styles, or empty.
    """
    drawn: dict[str, str] = {}
    for xml in (shared, inline):
        if xml:
            drawn |= _read_drawn(parse_elements(xml))
    named = {STYLE_URL: url, STYLE: shared, INLINE: inline}
    return {name: value for name, value in {**named, **drawn}.items() if value}


def _read_drawn(elements: list[_Element]) -> dict[str, str]:
    style = _find_normal(elements)
    if style is None:
        return {}
    found = {column: _find_text(style, path) for column, path in _DRAWN.items()}
    return {column: flip_color(text) if column.endswith("_color") else text for column, text in found.items() if text}


def _find_normal(elements: list[_Element]) -> _Element | None:
    """Return the style that a feature is drawn in while it is not pointed at."""
    if not elements or name_of(elements[0].tag) != "StyleMap":
        return elements[0] if elements else None
    for pair in elements[0]:
        parts = {name_of(child.tag): child for child in pair}
        if "key" not in parts or (parts["key"].text or "").strip() != "normal":
            continue
        if "Style" in parts:
            return parts["Style"]
        wanted = (parts["styleUrl"].text or "").strip()[1:] if "styleUrl" in parts else ""
        return next((e for e in elements[1:] if e.get("id") == wanted and name_of(e.tag) == "Style"), None)
    return None


def _find_text(style: _Element, path: tuple[str, ...]) -> str:
    here: _Element | None = style
    for name in path:
        here = next((child for child in here if name_of(child.tag) == name), None) if here is not None else None
    return (here.text or "").strip() if here is not None else ""


def flip_color(color: str) -> str:
    """Return ``aabbggrr`` as ``#rrggbb`` or ``#rrggbbaa``; what is no such colour as it is.

    >>> flip_color("ff009fe6"), flip_color("7fff0000"), flip_color("#ff0000")
    ('#e69f00', '#0000ff7f', '#ff0000')
    """
    if not _COLOR.fullmatch(color):
        return color
    alpha, blue, green, red = (color[k : k + 2].lower() for k in range(0, 8, 2))
    return f"#{red}{green}{blue}" + ("" if alpha == "ff" else alpha)


StyleFinder = Callable[[str], str | None]
