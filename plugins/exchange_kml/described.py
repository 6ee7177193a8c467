"""What placemarks of strangers say of themselves, as foreign columns under names that claim nothing twice."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from exchange.formats.arrow_columns import code_cells, no_cells, to_mask, to_texts
from exchange.formats.columns.header import read_header
from exchange.formats.options import ReadOptions
from exchange.formats.text_columns import TextCells
from exchange.formats.time_text import parse_times
from exchange.model import Problem
from exchange.model.columns import ForeignColumn, TextColumn, to_scalar
from exchange_kml.balloon import find_html, read_balloons
from exchange_kml.fields import Schemas, Tell, read_fields
from exchange_kml.gather import Batch
from exchange_kml.styles import STYLE_COLUMNS, STYLE_URL, StyleFinder, describe_style
from exchange_kml.take import INLINE_STYLE, PLAIN

DESCRIPTION, BALLOON = "description", "description_html"
_COLUMNS = {
    "name": "name",
    "description": DESCRIPTION,
    "Snippet": "snippet",
    "address": "address",
    "phoneNumber": "phone_number",
    "visibility": "visibility",
    "open": "open",
    "when": "time",
    "begin": "first_seen",
    "end": "last_seen",
    "altitudeMode": "altitude_mode",
    "extrude": "extrude",
    "tessellate": "tessellate",
}
"""Foreign column of each plain child of a placemark."""

_DATE_ONLY = r"^\s*[0-9]{4}(-[0-9]{2}){0,2}(Z|[+-][0-9]{2}:[0-9]{2})?\s*$"
_SAME_AS_TIME = {"date": "time", "epoch": "time"}
UNKNOWN_STYLE = "the style that a placemark names is not in the file"
PARTIAL_TIME = "a date without a time of day is no instant; it is kept as text in {}_text"


_OWN = frozenset((*_COLUMNS.values(), *STYLE_COLUMNS, BALLOON, "tilt", "roll", "time_text", "position_text"))


def drop_suggestions(problems: Iterable[Problem]) -> list[Problem]:
    """Return problems without those that ask what a column means whose meaning KML says."""
    return [p for p in problems if p.field not in _OWN or not p.message.startswith("this column may be")]


@dataclass(frozen=True)
class Described:
    """The foreign columns of a batch, and which style each row is drawn in, as words."""

    columns: dict[str, ForeignColumn]
    style_names: TextColumn | None

    def row(self, row: int) -> dict[str, Any]:
        """Return the values one row has, by column."""
        values = {name: to_scalar(column[row]) for name, column in self.columns.items()}
        return {name: value for name, value in values.items() if value is not None and value != ""}


def describe(batch: Batch, schemas: Schemas, styles: StyleFinder, options: ReadOptions, tell: Tell) -> Described:
    """Return all that placemarks say but where they are."""
    columns = read_elements(batch.columns, tell)
    fields = read_fields(batch.columns, schemas, tell)
    _add(columns, fields, "data", options)
    if BALLOON in columns:
        known = {name.casefold() for name in columns}
        cells = read_balloons(columns[BALLOON])
        _add(columns, {n: c for n, c in cells.items() if n.casefold() not in known}, "balloon", options)
    drawn, names = read_styles(batch.columns, styles, tell)
    _add(columns, drawn, "style", options)
    return Described(columns, names)


def read_elements(cells: Mapping[str, TextCells], tell: Tell) -> dict[str, ForeignColumn]:
    """Return the plain children and attributes of placemarks as columns of text."""
    columns: dict[str, ForeignColumn] = {}
    for key, texts in cells.items():
        if key.startswith("@"):
            columns[f"placemark_{key[1:]}"] = to_texts(texts)
        elif key in ("when", "begin", "end"):
            _split_times(_COLUMNS[key], texts, columns, tell)
        elif key in _COLUMNS:
            columns[_COLUMNS[key]] = to_texts(texts)
        elif key.rpartition(" (")[0] in (*_COLUMNS, *PLAIN):
            columns[key] = to_texts(texts)
    if DESCRIPTION in columns:
        _split_descriptions(columns)
    return {name: column for name, column in columns.items() if column.dtype.kind == "M" or any(column)}


def _split_times(name: str, texts: TextCells, columns: dict[str, ForeignColumn], tell: Tell) -> None:
    import pyarrow.compute as pc

    partial = to_mask(pc.match_substring_regex(texts, _DATE_ONLY))
    column = to_texts(texts)
    if partial.any():
        rows = np.flatnonzero(partial)
        tell(name, PARTIAL_TIME.format(name), rows, column[rows[0]])
        columns[f"{name}_text"] = np.where(partial, column, "")
        column = np.where(partial, "", column)
    parsed = parse_times(column)
    is_read = not len(parsed.without_zone) and not len(parsed.unreadable) and any(column)
    columns[name] = parsed.time if is_read else column


def _split_descriptions(columns: dict[str, ForeignColumn]) -> None:
    html = find_html(columns[DESCRIPTION])
    if html.any():
        columns[BALLOON] = np.where(html, columns[DESCRIPTION], "")
        columns[DESCRIPTION] = np.where(html, "", columns[DESCRIPTION])


def _add(
    columns: dict[str, ForeignColumn], fields: Mapping[str, ForeignColumn], origin: str, options: ReadOptions
) -> None:
    """Add fields; one that would claim what a column before it claims gets a name that claims nothing."""
    stated = options.columns.columns if options.columns else {}
    claimed = {_target(name) for name in columns} - {""}
    for name, column in fields.items():
        is_taken = name in columns or (_target(name) in claimed and name not in stated)
        free = f"{name} ({origin})" if is_taken else name
        while free in columns:
            free += "_"
        columns[free] = column


def _target(name: str) -> str:
    header = read_header(name)
    return _SAME_AS_TIME.get(header.target, header.target) if header else ""


def read_styles(
    cells: Mapping[str, TextCells], styles: StyleFinder, tell: Tell
) -> tuple[dict[str, ForeignColumn], TextColumn | None]:
    """Return the columns that styles give, and the name of each row's style."""
    if "styleUrl" not in cells and INLINE_STYLE not in cells:
        return {}, None
    pairs, code = code_styles(cells)
    found = [styles(url) if url else "" for url, _ in pairs]
    described = [describe_style(url, xml or "", inline) for (url, inline), xml in zip(pairs, found, strict=True)]
    lost = np.flatnonzero(np.array([xml is None for xml in found])[code])
    if len(lost):
        tell(STYLE_URL, UNKNOWN_STYLE, lost, pairs[code[lost[0]]][0])
    columns = {
        name: np.array([values.get(name, "") for values in described], dtype=object)[code]
        for name in STYLE_COLUMNS
        if any(name in values for values in described)
    }
    names = np.array([url.rpartition("#")[2] for url, _ in pairs], dtype=object)[code]
    return columns, names


def code_styles(cells: Mapping[str, TextCells]) -> tuple[list[tuple[str, str]], NDArray[np.int64]]:
    """Return the distinct (style URL, inline style) pairs, and which of them each row has."""
    length = len(next(iter(cells.values())))
    coded = []
    for key in ("styleUrl", INLINE_STYLE):
        coded.append(code_cells(cells.get(key, no_cells(length))))
    (urls, url), (inlines, inline) = coded
    distinct, code = np.unique(url * len(inlines) + inline, return_inverse=True)
    pairs = [(urls[k // len(inlines)].strip(), inlines[k % len(inlines)]) for k in distinct.tolist()]
    return pairs, code
