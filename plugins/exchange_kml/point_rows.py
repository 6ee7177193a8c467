"""Tables of points as placemarks, many thousand rows at a time."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from exchange.formats.properties import flatten_table
from exchange.formats.text_columns import (
    TextCells,
    clean_cells,
    escape_xml,
    format_numbers,
    format_times,
    join_rows,
    wrap_cells,
)
from exchange.model import Table
from exchange.model.columns import ForeignColumn, has_any_value
from exchange_kml.balloon import find_html
from exchange_kml.described import BALLOON
from exchange_kml.house_styles import PLACE_STYLE
from exchange_kml.names import house_status_style
from exchange_kml.style_plan import DrawnRows, StylePlan, code_texts, plan_rows
from exchange_kml.styles import STYLE_COLUMNS
from exchange_kml.typed import Field, write_extended_data

CHUNK_ROWS = 16_384
_SHOWN_NAME = {"detection": "id", "note": "detection", "place": "name"}
_SHOWN_TEXT = {"detection": "note", "note": "text", "place": "note"}
_POSITION = ("longitude", "latitude", "altitude")


@dataclass(frozen=True)
class PointRows:
    """A table of points ready to be written.

    Attributes
    ----------
    kind
        ``detection``, ``note`` or ``place``.
    table
        Its rows.
    fields
        What stands in the extended data.
    drawn
        How each row is drawn.
    balloon
        Foreign HTML that is a row's description, else empty; ``None`` where no row has any.
    """

    kind: str
    table: Any
    fields: tuple[Field, ...]
    drawn: DrawnRows
    balloon: ForeignColumn | None

    @classmethod
    def of(cls, kind: str, table: Table, plan: StylePlan) -> PointRows:
        """Return a table's rows; styles that come from elsewhere are entered in ``plan``."""
        drawn = plan_rows(table.extra, len(table), plan)
        columns = flatten_table(table, without=_POSITION)
        balloon = _split_balloon(columns)
        _clear(columns, STYLE_COLUMNS, drawn.carried())
        _drop_shown(columns, table, kind, balloon)
        columns |= _find_unplaced(table)
        declared = set(table.column_names())
        fields = [Field.of(n, c, declared=n in declared) for n, c in columns.items() if has_any_value(c)]
        return cls(kind, table, tuple(fields), drawn, balloon)

    def write(self, rows: NDArray[np.int64] | None = None, *, number: bool = False) -> Iterator[TextCells]:
        """Yield the placemarks of some rows, or of all, chunk by chunk.

        Parameters
        ----------
        rows
            Which, in order.
        number
            Whether each carries its place in the table, because the order of the file is another.
        """
        length = len(self.table) if rows is None else len(rows)
        for start in range(0, length, CHUNK_ROWS):
            chunk = slice(start, min(start + CHUNK_ROWS, length)) if rows is None else rows[start : start + CHUNK_ROWS]
            yield self._write_chunk(chunk, number=number)

    def _write_chunk(self, rows: slice | NDArray[np.int64], *, number: bool) -> TextCells:
        import pyarrow as pa

        opening: list[TextCells | str] = ["<Placemark>"]
        if number:
            places = np.arange(len(self.table))[rows]
            opening = [f'<Placemark id="{self.kind}-', pa.array(places).cast(pa.string()), '">']
        parts = [
            *opening,
            wrap_cells("<name>", escape_xml(clean_cells(self._find_names(rows))), "</name>"),
            wrap_cells("<description>", self.write_descriptions(rows), "</description>"),
            wrap_cells("<TimeStamp><when>", format_times(self._find_times(rows)), "</when></TimeStamp>"),
            self.write_styles(rows),
            *write_extended_data(self.kind, self.fields, rows),
            *write_points(self.table, rows),
            "</Placemark>\n",
        ]
        return join_rows(parts)

    def _find_names(self, rows: slice | NDArray[np.int64]) -> ForeignColumn:
        shown: ForeignColumn = getattr(self.table, _SHOWN_NAME[self.kind])[rows]
        return np.where(shown == "", self.table.name[rows], shown) if self.kind == "detection" else shown

    def _find_times(self, rows: slice | NDArray[np.int64]) -> Any:
        return self.table.time[rows]

    def write_descriptions(self, rows: slice | NDArray[np.int64]) -> TextCells:
        """Return descriptions as they stand in the file: foreign HTML, else the note with its marks escaped twice."""
        import pyarrow.compute as pc

        texts = clean_cells(getattr(self.table, _SHOWN_TEXT[self.kind])[rows])
        for mark, entity in (("&", "&amp;"), ("<", "&lt;"), (">", "&gt;")):
            texts = pc.replace_substring(texts, mark, entity)
        if self.balloon is not None:
            html = clean_cells(self.balloon[rows])
            texts = pc.if_else(pc.is_valid(html), html, texts)
        return escape_xml(texts)

    def write_styles(self, rows: slice | NDArray[np.int64]) -> TextCells:
        """Return ``styleUrl`` and inline style: a foreign one, else the house's own for the row's status."""
        import pyarrow as pa

        code = self.drawn.code[rows]
        foreign = [_write_style(kind.url, kind.inline) for kind in self.drawn.kinds]
        is_own = np.array([not text for text in foreign], dtype=bool)[code]
        texts = np.array(foreign, dtype=object)[code]
        if self.kind == "place":
            own: Any = _write_style(f"#{PLACE_STYLE}", "")
        else:
            statuses, status = code_texts(self.table.status[rows])
            own = np.array([_write_style(f"#{house_status_style(word)}", "") for word in statuses], dtype=object)[
                status
            ]
        return pa.array(np.where(is_own, own, texts), pa.string())


def _write_style(url: str, inline: str) -> str:
    from exchange_kml.serialise import escape_text

    return (f"<styleUrl>{escape_text(url)}</styleUrl>" if url else "") + inline


def write_points(table: Any, rows: slice | NDArray[np.int64]) -> list[TextCells | str]:
    """Return the parts of each row's point; nothing where a row has no position."""
    import pyarrow as pa
    import pyarrow.compute as pc

    longitude, latitude = table.longitude[rows], table.latitude[rows]
    placed = ~(np.isnan(longitude) | np.isnan(latitude))
    altitude = table.altitude[rows] if hasattr(table, "altitude") else np.full(len(longitude), np.nan)
    altitude = np.where(placed, altitude, np.nan)
    has_altitude = ~np.isnan(altitude)
    low, high = "<Point><coordinates>", "<Point><altitudeMode>absolute</altitudeMode><coordinates>"
    opening: Any = pc.if_else(pa.array(has_altitude), high, low)
    if has_altitude.all() or not has_altitude.any():
        opening = pa.scalar(high if has_altitude.all() and len(has_altitude) else low)
    tuples = pc.binary_join_element_wise(opening, format_numbers(longitude), "", null_handling="emit_null")
    tuples = pc.binary_join_element_wise(tuples, format_numbers(latitude), ",", null_handling="emit_null")
    closing = "</coordinates></Point>"
    return [tuples, wrap_cells(",", format_numbers(altitude), ""), wrap_cells(closing, _null_unless(placed), "")]


def _null_unless(placed: NDArray[np.bool_]) -> TextCells:
    import pyarrow as pa

    return pa.array(np.full(len(placed), "", dtype=object), pa.string(), mask=~placed)


def _split_balloon(columns: dict[str, ForeignColumn]) -> ForeignColumn | None:
    """Take foreign HTML out of the fields, since it becomes the description again; what is no HTML stays."""
    column = columns.get(BALLOON)
    if column is None or column.dtype.kind != "O" or set(map(type, column.tolist())) != {str}:
        return None
    html = find_html(column)
    if not html.any():
        return None
    columns[BALLOON] = np.where(html, "", column)
    return np.where(html, column, "")


def _clear(columns: dict[str, ForeignColumn], names: tuple[str, ...], rows: NDArray[np.bool_]) -> None:
    """Empty some text columns in some rows."""
    for name in names:
        if name in columns and rows.any():
            columns[name] = np.where(rows, "", columns[name])


def _drop_shown(columns: dict[str, ForeignColumn], table: Any, kind: str, balloon: ForeignColumn | None) -> None:
    """Take out of the fields what name, description and time of the placemark say already."""
    columns.pop("time", None)
    text = columns.pop(_SHOWN_TEXT[kind], None)
    if text is not None and balloon is not None:
        columns[_SHOWN_TEXT[kind]] = np.where(balloon != "", text, "")
    if kind != "detection":
        columns.pop(_SHOWN_NAME[kind], None)
    elif "name" in columns:
        columns["name"] = np.where(table.id != "", columns["name"], "")


def _find_unplaced(table: Any) -> dict[str, ForeignColumn]:
    """Return what is known of the position of rows that have no whole one."""
    unplaced = np.isnan(table.longitude) | np.isnan(table.latitude)
    if not unplaced.any():
        return {}
    names = [name for name in _POSITION if hasattr(table, name)]
    return {name: np.where(unplaced, getattr(table, name), np.nan) for name in names}
