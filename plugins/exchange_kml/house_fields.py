"""The fields of the house's own placemarks, typed, with the characters restored that XML cannot hold."""

from __future__ import annotations

import html
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from exchange.formats.properties import KIND
from exchange.formats.text_columns import TextCells, to_cells
from exchange.formats.xml.characters import restore_text
from exchange.model import STATUS_STYLES
from exchange.model.columns import ForeignColumn, TextColumn, has_value, to_scalar
from exchange_kml.described import BALLOON, DESCRIPTION, read_elements, read_styles
from exchange_kml.fields import Schemas, read_fields
from exchange_kml.gather import Batch
from exchange_kml.house_styles import FOREIGN_STYLE, NO_STATUS_COLOR
from exchange_kml.names import HOUSE
from exchange_kml.styles import STYLE_COLUMNS, STYLE_URL, StyleFinder

_OWN = frozenset(("name", DESCRIPTION, BALLOON, "time", "altitude_mode", "extrude", "tessellate", "placemark_id"))


@dataclass(frozen=True)
class HouseFields:
    """What placemarks of the house say of themselves.

    Attributes
    ----------
    columns
        By property name, foreign ones that someone has added since included, each of shape (n,).
    name, description
        Of the placemarks as they stand, shape (n,); empty where there is none.
    altitude_mode
        Of their points.
    """

    columns: dict[str, ForeignColumn]
    name: TextColumn
    description: TextColumn
    altitude_mode: TextColumn

    @classmethod
    def read(cls, batch: Batch, schemas: Schemas, styles: StyleFinder, kind: str) -> HouseFields:
        """Return the fields of a batch of one kind."""
        elements = read_elements(batch.columns, lambda *told: None)
        fields = read_fields(batch.columns, schemas, lambda *told: None)
        fields.pop(KIND, None)
        columns = {name: column for name, column in elements.items() if name not in _OWN} | fields
        if "time" in elements:
            columns["as_of" if kind == "perimeter" else "time"] = elements["time"]
        _add_styles(columns, batch, styles)
        nothing: TextColumn = np.full(len(batch), "", dtype=object)
        description = elements.get(DESCRIPTION, nothing)
        balloon = elements.get(BALLOON, nothing)
        return cls(
            columns,
            elements.get("name", nothing),
            np.where(balloon != "", balloon, description),
            elements.get("altitude_mode", nothing),
        )

    def row(self, row: int) -> dict[str, Any]:
        """Return the values one row has, by property name."""
        values = {name: to_scalar(column[row]) for name, column in self.columns.items()}
        return {name: value for name, value in values.items() if value is not None and value != ""}


def restore_batch(batch: Batch) -> Batch:
    """Return a batch with the escapes of characters that XML cannot hold undone, in names and in values."""
    return replace(batch, columns={restore_text(key): _restore_cells(c) for key, c in batch.columns.items()})


def _restore_cells(cells: TextCells) -> TextCells:
    import pyarrow.compute as pc

    if not pc.any(pc.match_substring(cells, "\\u")).as_py():
        return cells
    texts = [None if text is None else restore_text(text) for text in cells.to_pylist()]
    return to_cells(texts)


def unescape_html(texts: TextColumn) -> TextColumn:
    """Return plain text that was escaped so that no viewer takes it for markup."""
    return np.fromiter((html.unescape(text) if "&" in text else text for text in texts), dtype=object, count=len(texts))


def _add_styles(columns: dict[str, ForeignColumn], batch: Batch, styles: StyleFinder) -> None:
    """Add what the styles say, unless it is the house's own style for the row's status."""
    drawn, _ = read_styles(batch.columns, styles, lambda *told: None)
    if not drawn:
        return
    own = _find_own(drawn, columns, len(batch))
    for name in STYLE_COLUMNS:
        if name not in drawn:
            continue
        shown = np.where(own, "", drawn[name])
        if not has_value(shown).any():
            continue
        given = columns.get(name)
        # An application that redraws a spot leaves the old value in the fields.
        columns[name] = shown if given is None else np.where(shown != "", shown, given)


def _find_own(drawn: dict[str, ForeignColumn], columns: dict[str, ForeignColumn], length: int) -> Any:
    """Return which rows are drawn as the house drew them."""
    nothing = np.full(length, "", dtype=object)
    urls = drawn.get(STYLE_URL, nothing)
    known = {url: url.startswith(f"#{HOUSE}-") for url in set(urls.tolist())}
    own = np.fromiter((known[url] for url in urls), dtype=bool, count=length)
    own &= drawn.get("style_inline", nothing) == ""
    kept = {url: url.startswith(f"#{FOREIGN_STYLE}") for url in known}
    is_foreign = np.fromiter((kept[url] for url in urls), dtype=bool, count=length)
    colors = {status: style.color.lower() for status, style in STATUS_STYLES.items()}
    statuses = columns.get("status", nothing)
    expected = np.array([colors.get(status, NO_STATUS_COLOR) for status in statuses.tolist()], dtype=object)
    shown = drawn.get("icon_color", nothing)
    return own & (is_foreign | (shown == "") | (shown == expected))
