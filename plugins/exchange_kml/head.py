"""The head of a document: styles, schemas and folders by simplekml, put in the order that the schema of KML wants.

simplekml sets styles before the name and gives everything numbers for identifiers, both of which KML 2.2 forbids;
its tree is small, so it is put right here before the rows are streamed into it.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from exchange.formats.xml.characters import clean_text
from exchange.formats.xml.parse import parse_fragment
from exchange.model import STATUS_STYLES
from exchange_kml.house_styles import (
    NO_STATUS_COLOR,
    PERIMETER_COLOR,
    PERIMETER_STYLE,
    PLACE_COLOR,
    PLACE_STYLE,
    TRACK_COLOR,
    TRACK_STYLE,
)
from exchange_kml.icons import icon_name
from exchange_kml.names import HOUSE, house_schema, house_status_style, name_of
from exchange_kml.shape_rows import FIX
from exchange_kml.styles import parse_elements

if TYPE_CHECKING:
    from lxml.etree import _Element

_ORDER = ("name", "description", "Style", "StyleMap", "Schema", "Folder")
_ROWS = re.compile(r"<description>rows-([0-9]+)-</description>")
_TOKEN = re.compile(r"token-([0-9]+)-")


@dataclass
class FolderPlan:
    """A folder to write.

    Attributes
    ----------
    name, identifier
        Shown name, and identifier or empty.
    rows
        Number by which its rows are asked for; -1 for none of its own.
    folders
        Folders in it.
    """

    name: str
    identifier: str = ""
    rows: int = -1
    folders: list[FolderPlan] = field(default_factory=list)


@dataclass(frozen=True)
class HeadPlan:
    """What goes into a head.

    Attributes
    ----------
    title
        Of the document.
    schemas
        By identifier, each field's type by name.
    folders
        In order.
    foreign_styles
        XML of shared styles that came from elsewhere.
    has_icons
        Whether the icons of the statuses are at hand.
    """

    title: str
    schemas: Mapping[str, Mapping[str, str]]
    folders: Sequence[FolderPlan]
    foreign_styles: Sequence[str]
    has_icons: bool


def write_head(plan: HeadPlan) -> tuple[list[str], list[int]]:
    """Return the document in pieces, and which folder's rows go between each and the next."""
    from lxml import etree

    root = _Skeleton(plan).build()
    text = '<?xml version="1.0" encoding="UTF-8"?>\n' + etree.tostring(root, encoding="unicode") + "\n"
    parts = _ROWS.split(text)
    return parts[0::2], [int(number) for number in parts[1::2]]


class _Skeleton:
    """One head on its way into a tree; texts of the user's travel past simplekml as tokens."""

    def __init__(self, plan: HeadPlan) -> None:
        self.plan = plan
        self.texts: list[str] = []

    def build(self) -> _Element:
        import simplekml

        document = simplekml.Kml()
        document.document._id = HOUSE
        document.document.name = self.token(self.plan.title) if self.plan.title else None
        for style in self.make_styles():
            document.document.styles.append(style)
        for identifier, fields in self.plan.schemas.items():
            self.add_schema(document, identifier, fields)
        for folder in self.plan.folders:
            self.add_folder(document.document, folder)
        root = parse_fragment(document.kml(format=False).encode())
        self.put_right(root)
        return root

    def token(self, text: str) -> str:
        self.texts.append(clean_text(text))
        return f"token-{len(self.texts) - 1}-"

    def make_styles(self) -> list[Any]:
        statuses = {status: style.color for status, style in STATUS_STYLES.items()} | {"": NO_STATUS_COLOR}
        points = [
            self.make_point_style(house_status_style(status), color, icon_name(status))
            for status, color in statuses.items()
        ]
        place = self.make_point_style(PLACE_STYLE, PLACE_COLOR, icon_name(""))
        return [*points, place, *map(_make_line_style, (TRACK_STYLE, PERIMETER_STYLE), (TRACK_COLOR, PERIMETER_COLOR))]

    def make_point_style(self, identifier: str, color: str, icon: str) -> Any:
        import simplekml

        style = simplekml.Style()
        style._id = identifier
        style.iconstyle.color, style.iconstyle.scale = to_kml_color(color), 0.8
        style.labelstyle.scale = 0.8
        if self.plan.has_icons:
            style.iconstyle.icon.href = icon
        return style

    def add_schema(self, document: Any, identifier: str, fields: Mapping[str, str]) -> None:
        schema = document.newschema(name=identifier)
        schema._id = identifier
        is_beside = identifier.startswith(house_schema(FIX))
        add = schema.newgxsimplearrayfield if is_beside else schema.newsimplefield
        for name, type_name in fields.items():
            add(self.token(name), type_name)

    def add_folder(self, container: Any, plan: FolderPlan) -> None:
        folder = container.newfolder(name=self.token(plan.name))
        folder._id = plan.identifier or folder._id
        if plan.rows >= 0:
            folder.description = f"rows-{plan.rows}-"
        for inner in plan.folders:
            self.add_folder(folder, inner)

    def put_right(self, root: _Element) -> None:
        """Drop identifiers that are mere numbers, restore the texts, add foreign styles, sort."""
        document = root[0]
        for element in root.iter():
            if (element.get("id") or "0").isdigit():
                element.attrib.pop("id", "")
            element.text = self.restore(element.text)
            for key, value in element.attrib.items():
                element.set(key, self.restore(str(value)) or "")
            if name_of(element.tag) == "IconStyle" and not self.plan.has_icons:
                for icon in [child for child in element if name_of(child.tag) == "Icon"]:
                    element.remove(icon)
        for xml in self.plan.foreign_styles:
            document.extend(parse_elements(xml))
        document[:] = sorted(document, key=lambda child: _ORDER.index(name_of(child.tag)))

    def restore(self, text: str | None) -> str | None:
        return _TOKEN.sub(lambda match: self.texts[int(match[1])], text) if text else text


def _make_line_style(identifier: str, color: str) -> Any:
    import simplekml

    style = simplekml.Style()
    style._id = identifier
    style.linestyle.color, style.linestyle.width = to_kml_color(color), 3
    style.polystyle.fill = 0
    return style


def to_kml_color(color: str) -> str:
    """Return ``#rrggbb`` as KML's opaque ``aabbggrr``.

    >>> to_kml_color("#E69F00")
    'ff009fe6'
    """
    red, green, blue = color[1:3], color[3:5], color[5:7]
    return f"ff{blue}{green}{red}".lower()
