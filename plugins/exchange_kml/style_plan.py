"""Foreign styles on their way back out: as shared styles and inline ones where they are lawful, else renamed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from exchange.errors import ReadError
from exchange.model.columns import ForeignColumn
from exchange_kml.house_styles import FOREIGN_STYLE
from exchange_kml.names import HOUSE, name_of
from exchange_kml.serialise import serialise
from exchange_kml.style_rules import is_lawful
from exchange_kml.styles import INLINE, STYLE, STYLE_COLUMNS, STYLE_URL, SharedStyles, describe_style, parse_elements

if TYPE_CHECKING:
    from lxml.etree import _Element


@dataclass(frozen=True)
class Drawn:
    """How the rows of one foreign style are drawn.

    Attributes
    ----------
    url, inline
        Their ``styleUrl`` and inline style; both empty where the house's own style is used.
    is_carried
        Whether the style says all that the style columns say, so that they need not be written.
    """

    url: str = ""
    inline: str = ""
    is_carried: bool = False


@dataclass
class StylePlan:
    """Decide how foreign styles are written, and collect the shared ones.

    Attributes
    ----------
    shared
        XML of the shared styles to write, by identifier.
    """

    shared: dict[str, str] = field(default_factory=dict)
    _identifiers: set[str] = field(default_factory=set)
    _known: dict[tuple[str, ...], Drawn] = field(default_factory=dict)
    _renamed: int = 0

    def plan(self, values: Mapping[str, str]) -> Drawn:
        """Return how rows with these style columns are drawn."""
        key = tuple(values.get(name, "") for name in STYLE_COLUMNS)
        if key not in self._known:
            self._known[key] = self._decide({name: value for name, value in values.items() if value})
        return self._known[key]

    def _decide(self, values: dict[str, str]) -> Drawn:
        url, shared, inline = values.get(STYLE_URL, ""), values.get(STYLE, ""), values.get(INLINE, "")
        try:
            elements, own = _parse(shared), _parse(inline)
            if not values or not _says_the_same(values, url, shared, inline):
                return Drawn()
        except (ReadError, ValueError):
            return Drawn()
        names = _identifiers(elements)
        if not all(map(is_lawful, (*elements, *own))) or _identifiers(own) or len(names) != len(set(names)):
            return Drawn()
        if not elements:
            return Drawn(url, inline, is_carried=True) if _is_elsewhere(url) or not url else Drawn()
        if url[1:] != elements[0].get("id") or not all(element.get("id") for element in elements):
            return Drawn()
        if self._enter(elements):
            return Drawn(url, inline, is_carried=True)
        return Drawn(self._enter_renamed(elements), inline)

    def _enter(self, elements: list[_Element]) -> bool:
        """Take shared styles as they are; tell whether their identifiers are free or mean the same already."""
        texts = {element.get("id", ""): serialise(element) for element in elements}
        if all(self.shared.get(name) == xml for name, xml in texts.items()):
            return True
        wanted = [
            name
            for element in elements
            if self.shared.get(element.get("id", "")) != serialise(element)
            for name in _identifiers([element])
        ]
        if len(wanted) != len(set(wanted)) or self._identifiers & set(wanted) or any(_is_reserved(n) for n in wanted):
            return False
        self.shared |= texts
        self._identifiers.update(wanted)
        return True

    def _enter_renamed(self, elements: list[_Element]) -> str:
        """Take shared styles under identifiers of the house's own, and return the URL of the first."""
        self._renamed += 1
        first = elements[0].get("id", "")
        new = {name: f"{FOREIGN_STYLE}{self._renamed}-{name}" for name in _identifiers(elements)}
        for element in (inner for outer in elements for inner in outer.iter()):
            if "id" in element.attrib:
                element.set("id", new[element.get("id", "")])
            if name_of(element.tag) == "styleUrl" and (element.text or "")[1:] in new:
                element.text = f"#{new[(element.text or '')[1:]]}"
        self.shared |= {element.get("id", ""): serialise(element) for element in elements}
        return f"#{new[first]}"


def _parse(xml: str) -> list[_Element]:
    return parse_elements(xml) if xml else []


def _says_the_same(values: dict[str, str], url: str, shared: str, inline: str) -> bool:
    """Tell whether the styles, read again, give the very columns they come from."""
    styles = SharedStyles()
    for element in _parse(shared):
        styles.add(element)
    if shared and styles.find(url) != shared:
        return False
    if "".join(serialise(element) for element in _parse(inline)) != inline:
        return False
    return dict(describe_style(url, shared, inline)) == values


def _is_elsewhere(url: str) -> bool:
    from urllib.parse import urlsplit

    return (
        bool(url.partition("#")[0])
        and "#" in url
        and url.isascii()
        and not set(url) & set(' <>"{}|\\^`')
        and bool(urlsplit(url).path or urlsplit(url).netloc)
    )


def _is_reserved(name: str) -> bool:
    return name.startswith(f"{HOUSE}-") or name == HOUSE or name.rpartition("-")[0] in ("detection", "note", "place")


def _identifiers(elements: list[_Element]) -> list[str]:
    return [inner.get("id", "") for outer in elements for inner in outer.iter() if "id" in inner.attrib]


@dataclass(frozen=True)
class DrawnRows:
    """How the rows of a table are drawn: an index into ``kinds`` for each, shape (n,)."""

    kinds: tuple[Drawn, ...]
    code: NDArray[np.int64]

    def carried(self) -> NDArray[np.bool_]:
        """Return which rows' style columns need not be written."""
        return np.array([kind.is_carried for kind in self.kinds], dtype=bool)[self.code]


def plan_rows(columns: Mapping[str, ForeignColumn], length: int, plan: StylePlan) -> DrawnRows:
    """Return how each row of a table with these foreign columns is drawn."""
    given = {name: columns[name] for name in STYLE_COLUMNS if name in columns}
    if not given or not all(_is_text(column) for column in given.values()):
        return DrawnRows((Drawn(),), np.zeros(length, dtype=np.int64))
    code = np.zeros(length, dtype=np.int64)
    for column in given.values():
        code = _refine(code, column)
    _, first = np.unique(code, return_index=True)
    values: list[dict[str, Any]] = [{name: column[row] for name, column in given.items()} for row in first.tolist()]
    return DrawnRows(tuple(plan.plan(each) for each in values), code)


def _is_text(column: ForeignColumn) -> bool:
    return column.dtype.kind == "O" and set(map(type, column.tolist())) <= {str}


def _refine(code: NDArray[np.int64], column: ForeignColumn) -> NDArray[np.int64]:
    known, own = code_texts(column)
    refined: NDArray[np.int64] = np.unique(code * max(len(known), 1) + own, return_inverse=True)[1].reshape(-1)
    return refined


def code_texts(column: ForeignColumn) -> tuple[list[str], NDArray[np.int64]]:
    """Return the distinct texts of a column, and which of them each row has."""
    import pyarrow as pa

    try:
        coded = pa.array(column, pa.string()).dictionary_encode()
    except UnicodeEncodeError:
        # A lone half of a surrogate pair, which Arrow cannot hold.
        known: dict[str, int] = {}
        own = np.fromiter((known.setdefault(text, len(known)) for text in column.tolist()), np.int64, len(column))
        return list(known), own
    return coded.dictionary.to_pylist(), coded.indices.to_numpy().astype(np.int64)
