"""Columns of the model as the cells of GPX elements, many rows at a time."""

from __future__ import annotations

import itertools
import re
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from exchange.formats.arrow_columns import code_cells
from exchange.formats.text_columns import (
    TextCells,
    clean_cells,
    escape_xml,
    format_column,
    format_numbers,
    format_text,
    format_times,
    join_rows,
    wrap_cells,
)
from exchange.formats.values import value_type
from exchange.formats.xml.characters import clean_text
from exchange.model import Table
from exchange.model.columns import ForeignColumn, has_any_value, is_text, to_items
from exchange_gpx.lawful import find_lawful
from exchange_gpx.names import LINK_PARTS, PATTERNS
from exchange_gpx.take import EXTENSIONS

Rows = NDArray[np.bool_]
_MARKS = str.maketrans(
    {"&": "&amp;", "<": "&lt;", ">": "&gt;", '"': "&quot;", "\t": "&#x9;", "\n": "&#xA;", "\r": "&#xD;"}
)


def escape(text: str) -> str:
    """Return one text as it may stand in an element or a quoted attribute; what XML cannot hold is cleaned."""
    return clean_text(text).translate(_MARKS)


@dataclass
class Cells:
    """The elements of some rows: those of GPX by name, each whole; the house's own; and foreign ones.

    Attributes
    ----------
    native
        By element, with its tags, null where a row has none.
    own
        Elements of the house's namespace, in order.
    foreign
        Extensions as they came, or ``None``.
    kept_as_text
        How many extensions no valid GPX can hold as elements: they are kept as a text.
    """

    native: dict[str, TextCells] = field(default_factory=dict)
    own: list[TextCells | str] = field(default_factory=list)
    foreign: TextCells | None = None
    kept_as_text: int = 0

    def add_native(self, element: str, cells: TextCells) -> None:
        """Add an element of GPX; the cells are escaped already."""
        self.native[element] = wrap_cells(f"<{element}>", cells, f"</{element}>")

    def add_own(self, name: str, cells: TextCells) -> None:
        """Add an element of the house's namespace; the cells are escaped already."""
        self.own.append(wrap_cells(f"<x:{name}>", cells, f"</x:{name}>"))

    def add_field(self, name: str, type_name: str, cells: TextCells) -> None:
        """Add a typed foreign field; the cells are escaped already."""
        kind = "" if type_name == "string" else f' t="{type_name}"'
        self.own.append(wrap_cells(f'<x:f n="{escape(name)}"{kind}>', cells, "</x:f>"))

    def extensions(self, version: str, *, always: bool) -> list[TextCells | str]:
        """Return the parts that hold what GPX has no element for; ``always`` tells that every row has some."""
        parts = [*([] if self.foreign is None else [self.foreign]), *self.own]
        if not parts or version == "1.0":
            return parts
        if always:
            return ["<extensions>", *parts, "</extensions>"]
        return [wrap_cells("<extensions>", _null_empty(join_rows(parts)), "</extensions>")]


def add_declared(cells: Cells, table: Table, native: Mapping[str, str]) -> None:
    """Add the columns of the model: to the elements of GPX that hold them, else to the house's own."""
    elements = {column: element for element, column in native.items() if column}
    for name in table.column_names():
        column = getattr(table, name)
        if name in ("longitude", "latitude", "segment") or not has_any_value(column):
            continue
        element = elements.get(name)
        if element is None:
            cells.add_own(name, format_escaped(column))
        elif column.dtype.kind == "f" and np.isinf(column).any():
            cells.add_native(element, format_numbers(np.where(np.isfinite(column), column, np.nan)))
            cells.add_own(name, format_numbers(np.where(np.isinf(column), column, np.nan)))
        else:
            cells.add_native(element, format_escaped(column))


def format_escaped(column: ForeignColumn) -> TextCells:
    """Return a column as escaped text by its kind, null where missing."""
    if column.dtype.kind == "M":
        return format_times(column)
    return escape_xml(clean_cells(column)) if column.dtype.kind == "O" else format_column(column)


def add_extra(cells: Cells, extra: Mapping[str, ForeignColumn], texts: tuple[str, ...], version: str) -> None:
    """Add the foreign columns: texts of GPX's own elements to those, extensions as they came, the rest as fields.

    Parameters
    ----------
    cells
        What to add to.
    extra
        By name, each of shape (n,).
    texts
        The elements of GPX that may hold one.
    version
        Of GPX.
    """
    links = _find_links(extra) if "link" in texts and "link" not in cells.native else {}
    for name, column in extra.items():
        if name in links or (name == EXTENSIONS and _is_text(column)):
            continue
        if name in texts and name != "link" and name not in cells.native and _is_text(column):
            _add_text_element(cells, name, column)
        else:
            _add_field_column(cells, name, column)
    _add_links(cells, links, version)
    if EXTENSIONS in extra and _is_text(extra[EXTENSIONS]):
        _add_extensions(cells, extra[EXTENSIONS])


def _is_text(column: ForeignColumn) -> bool:
    return is_text(column) or (column.dtype.kind == "O" and set(map(type, column.tolist())) <= {str})


def _add_text_element(cells: Cells, name: str, column: ForeignColumn) -> None:
    texts = clean_cells(column)
    fitting = _fits(name, texts)
    cells.add_native(name, escape_xml(_where(fitting, texts)))
    if not fitting.all():
        _add_strings(cells, name, _where(~fitting, texts))


def _add_strings(cells: Cells, name: str, texts: TextCells) -> None:
    if texts.null_count < len(texts):
        cells.add_field(name, "string", escape_xml(texts))


def _fits(name: str, texts: TextCells) -> Rows:
    """Return which texts an element of GPX may hold."""
    pattern = PATTERNS.get(name)
    if pattern is None:
        return np.ones(len(texts), dtype=bool)
    matcher = re.compile(pattern, re.ASCII)
    distinct, code = code_cells(texts)
    return np.array([not text or bool(matcher.fullmatch(text)) for text in distinct], dtype=bool)[code]


def _where(rows: Rows, texts: TextCells) -> TextCells:
    import pyarrow.compute as pc

    return texts if rows.all() else pc.if_else(rows, texts, None)


def _null_empty(texts: TextCells) -> TextCells:
    import pyarrow.compute as pc

    return pc.if_else(pc.equal(pc.binary_length(texts), 0), None, texts)


def _add_field_column(cells: Cells, name: str, column: ForeignColumn) -> None:
    """Add a foreign column as typed fields, an element for each type that occurs in it."""
    if column.dtype.kind != "O":
        kind = {"f": "double", "M": "dateTime", "b": "bool"}.get(column.dtype.kind, "int")
        cells.add_field(name, kind, format_column(column))
    elif _is_text(column):
        _add_strings(cells, name, clean_cells(column))
    else:
        items = to_items(column)
        types = np.array(["" if item is None else value_type(item) for item in items])
        for kind in dict.fromkeys(types.tolist()):
            if kind:
                only = [item if is_it else None for item, is_it in zip(items, types == kind, strict=True)]
                chosen = np.fromiter(only, dtype=object, count=len(only))
                cells.add_field(name, kind, escape_xml(clean_cells(chosen)))


def _find_links(extra: Mapping[str, ForeignColumn]) -> dict[str, ForeignColumn]:
    """Return the columns that are parts of links, of which a point may have several."""
    found: dict[str, ForeignColumn] = {}
    suffixes = itertools.chain([""], (f"#{number}" for number in itertools.count(2)))
    for suffix in itertools.takewhile(lambda suffix: f"link{suffix}" in extra, suffixes):
        found |= {part + suffix: extra[part + suffix] for part in LINK_PARTS if part + suffix in extra}
    return found if all(map(_is_text, found.values())) else {}


def _add_links(cells: Cells, links: Mapping[str, ForeignColumn], version: str) -> None:
    whole = []
    linked: Rows | None = None
    for suffix in (name.removeprefix("link") for name in links if re.fullmatch(r"link(#\d+)?", name)):
        parts = {part: clean_cells(links[part + suffix]) for part in LINK_PARTS if part + suffix in links}
        fitting = _fits("link", parts["link"])
        fitting &= np.array([text is not None for text in parts["link"].to_pylist()], dtype=bool)
        # A link behind one that cannot stand would be counted as that one when it is read.
        linked = fitting if linked is None else linked & fitting
        held = LINK_PARTS if version == "1.1" else () if suffix else LINK_PARTS[:2]
        for part, texts in parts.items():
            if part in held:
                parts[part] = _where(linked, texts)
                _add_strings(cells, part + suffix, _where(~linked, texts))
            else:
                _add_strings(cells, part + suffix, texts)
        if held:
            whole.append(
                _format_link(
                    {part: escape_xml(parts[part], in_attribute=True) for part in held if part in parts}, version
                )
            )
    if whole:
        cells.native["link"] = _null_empty(join_rows(whole))


def _format_link(parts: Mapping[str, TextCells], version: str) -> TextCells:
    tags = {"link_text": ("<text>", "</text>"), "link_type": ("<type>", "</type>")}
    if version == "1.0":
        shown = [
            wrap_cells(f"<{tag}>", parts[part], f"</{tag}>")
            for part, tag in (("link", "url"), ("link_text", "urlname"))
            if part in parts
        ]
        return _null_empty(join_rows(shown))
    inner = [wrap_cells(tags[part][0], parts[part], tags[part][1]) for part in LINK_PARTS[1:] if part in parts]
    whole = join_rows([wrap_cells('<link href="', parts["link"], '">'), *inner])
    return wrap_cells("", _null_empty(whole), "</link>")


def _add_extensions(cells: Cells, column: ForeignColumn) -> None:
    cleaned = clean_cells(column)
    try:
        texts = format_text(column)
        lawful = find_lawful(texts)
    except UnicodeEncodeError:
        texts, lawful = cleaned, np.zeros(len(column), dtype=bool)
    if lawful.any():
        cells.foreign = _where(lawful, texts)
    left = _where(~lawful, cleaned)
    cells.kept_as_text = len(left) - left.null_count
    _add_strings(cells, EXTENSIONS, left)
