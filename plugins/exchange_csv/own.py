"""Read a table of the house back into the very packet it was written from."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from exchange.errors import ExchangeError, MalformedError
from exchange.formats.arrow_columns import to_texts
from exchange.formats.formulas import unescape_formula
from exchange.formats.properties import KIND, PERIMETER_FIELDS, TABLES, TRACK_FIELDS, build_perimeter, build_table
from exchange.model import Packet, Problem, Source, Sources, Table, Track
from exchange.model.columns import to_items, to_number_column, to_time_column
from exchange_csv.cells import find_empty, to_cells, to_mask, unescape_cells
from exchange_csv.layout import (
    FIX,
    GEOMETRY,
    INCIDENT,
    KINDS,
    OWN_COLUMNS,
    PERIMETER,
    TRACK,
    TRACK_NUMBER,
    foreign_name,
    split_heading,
)
from exchange_csv.own_cells import read_cells, read_model_numbers, read_model_times, refuse
from exchange_csv.table import Block, TextTable


def read_own(table: TextTable, blocks: Iterator[Block]) -> Iterator[Packet]:
    """Read a table of the house.

    Raises
    ------
    MalformedError
        When a cell is no value of its column, or a row is of no known kind.
    """
    reading = _OwnReading(table)
    for block in blocks:
        yield reading.take(block)
    yield reading.finish()


class _OwnReading:
    """One table on its way back; remembers the tracks whose fixes follow."""

    def __init__(self, table: TextTable) -> None:
        self.path = table.file.name
        self.headings = {unescape_formula(h): n for h, n in zip(table.dialect.header, table.dialect.names, strict=True)}
        self.heads: dict[int, dict[str, Any]] = {}
        self.waiting: dict[int, Source] = {}
        """Tracks none of whose fixes has come yet, by number."""

    def take(self, block: Block) -> Packet:
        columns = {heading: unescape_cells(block.columns[name]) for heading, name in self.headings.items()}
        kinds, problems = self._read_kinds(to_texts(columns[KIND]), block.records)
        packet = Packet(
            incident=self._read_incident(columns, kinds),
            detections=self._read_points("detection", columns, kinds, block.records),
            notes=self._read_points("note", columns, kinds, block.records),
            places=self._read_points("place", columns, kinds, block.records),
            tracks=tuple(self._read_tracks(columns, kinds, block.records)),
            perimeters=tuple(self._read_perimeters(columns, kinds, block.records)),
        )
        return packet.replace(problems=(*block.problems, *problems))

    def finish(self) -> Packet:
        """Return the tracks that have no fixes at all."""
        return Packet(tracks=tuple(self._empty_tracks(list(self.waiting))))

    def _read_kinds(self, kinds: NDArray[Any], records: NDArray[np.int64]) -> tuple[NDArray[Any], list[Problem]]:
        unknown = set(kinds.tolist()) - KINDS
        if not unknown:
            return kinds, []
        row = next(row for row, kind in enumerate(kinds) if kind in unknown)
        if unknown != {""}:
            row = next(row for row, kind in enumerate(kinds) if kind in unknown - {""})
            raise MalformedError(
                f"{kinds[row]!r} is nothing that a row can be",
                path=self.path,
                record=int(records[row]),
                field=KIND,
                remedy=f"Write one of: {', '.join(sorted(KINDS))}.",
            )
        told = Problem(
            message="the row does not say what it is; it is taken as a detection",
            severity="note",
            remedy=f"Write detection, note or place in the column {KIND}.",
            path=self.path,
            record=int(records[row]),
            field=KIND,
            count=int((kinds == "").sum()),
        )
        return np.where(kinds == "", "detection", kinds), [told]

    def _read_incident(self, columns: Mapping[str, Any], kinds: NDArray[Any]) -> str:
        rows = np.flatnonzero(kinds == INCIDENT)
        return columns["name"][int(rows[0])].as_py() if len(rows) and "name" in columns else ""

    def _read_points(self, kind: str, columns: Mapping[str, Any], kinds: NDArray[Any], records: Any) -> Any:
        rows = kinds == kind
        if not rows.any():
            return TABLES[kind]()
        return self._read_table(TABLES[kind], columns, rows, records)

    def _read_table(
        self, kind: type[Table], columns: Mapping[str, Any], rows: NDArray[np.bool_], records: Any, **fixed: Any
    ) -> Any:
        chosen = records[rows]
        flat: dict[str, Any] = {}
        foreign: dict[str, Any] = {}
        for heading, cells in _choose_rows(columns, rows).items():
            name, type_name = split_heading(heading)
            if heading in kind.column_names():
                flat[heading] = _read_model(kind, heading, cells)
            elif heading not in OWN_COLUMNS:
                foreign[foreign_name(name)] = self._read_foreign(cells, type_name, heading, chosen)
        read = build_table(kind, flat, source=Sources.of(self.path, "", chosen), **fixed)
        return read.replace(extra=foreign)

    def _read_foreign(self, cells: Any, type_name: str, heading: str, records: NDArray[np.int64]) -> Any:
        try:
            return read_cells(cells, type_name)
        except ValueError as error:
            raise refuse(error, self.path, _find_wrong(cells, type_name, records), heading) from error

    def _read_tracks(self, columns: Mapping[str, Any], kinds: NDArray[Any], records: Any) -> Iterator[Track]:
        numbers = self._read_track_numbers(columns, kinds, records)
        for row in np.flatnonzero(kinds == TRACK).tolist():
            self.heads[numbers[row]] = self._read_head(columns, row, int(records[row]))
            self.waiting[numbers[row]] = Source(self.path, "", int(records[row]))
        fixes = np.flatnonzero(kinds == FIX)
        if not len(fixes):
            return
        cuts = np.flatnonzero(np.diff(numbers[fixes])) + 1
        for rows in np.split(fixes, cuts):
            yield from self._read_piece(int(numbers[rows[0]]), columns, _mask(rows, len(kinds)), records)

    def _read_piece(self, number: int, columns: Mapping[str, Any], rows: Any, records: Any) -> Iterator[Track]:
        yield from self._empty_tracks([waiting for waiting in self.waiting if waiting < number])
        self.waiting.pop(number, None)
        fixed = {**self.heads.get(number, {}), "number": number}
        if TRACK_NUMBER not in columns or "segment" not in columns:
            fixed["segment"] = np.zeros(int(rows.sum()), dtype=np.int64)
        yield self._read_table(Track, columns, rows, records, **fixed)

    def _empty_tracks(self, numbers: list[int]) -> Iterator[Track]:
        for number in numbers:
            self.waiting.pop(number)
            yield Track(**self.heads[number], number=number)

    def _read_track_numbers(self, columns: Mapping[str, Any], kinds: NDArray[Any], records: Any) -> Any:
        concerned = (kinds == TRACK) | (kinds == FIX)
        numbers = np.zeros(len(kinds), dtype=np.int64)
        if not concerned.any():
            return numbers
        texts = to_texts(columns[TRACK_NUMBER]) if TRACK_NUMBER in columns else np.full(len(kinds), "", dtype=object)
        for text in set(texts[concerned].tolist()):
            if not text.isdigit():
                row = int(np.flatnonzero(concerned & (texts == text))[0])
                raise refuse(
                    ValueError(f"{text!r} is no number of a track"), self.path, int(records[row]), TRACK_NUMBER
                )
            numbers[concerned & (texts == text)] = int(text)
        return numbers

    def _read_head(self, columns: Mapping[str, Any], row: int, record: int) -> dict[str, Any]:
        fields: dict[str, Any] = {}
        properties: dict[str, Any] = {}
        for heading, text in _row_texts(columns, row):
            if heading in TRACK_FIELDS:
                fields[heading] = text
            elif heading not in OWN_COLUMNS:
                name, type_name = split_heading(heading)
                properties[foreign_name(name)] = self._read_one(text, type_name, heading, record)
        return {**fields, "properties": properties}

    def _read_one(self, text: str, type_name: str, heading: str, record: int) -> Any:
        return to_items(self._read_foreign(to_cells([text]), type_name, heading, np.array([record])))[0]

    def _read_perimeters(self, columns: Mapping[str, Any], kinds: NDArray[Any], records: Any) -> Iterator[Any]:
        for row in np.flatnonzero(kinds == PERIMETER).tolist():
            yield self._read_perimeter(columns, row, int(records[row]))

    def _read_perimeter(self, columns: Mapping[str, Any], row: int, record: int) -> Any:
        properties: dict[str, Any] = {}
        extra: dict[str, Any] = {}
        wkt = ""
        for heading, text in _row_texts(columns, row):
            name, type_name = split_heading(heading)
            if heading == GEOMETRY:
                wkt = text
            elif heading in PERIMETER_FIELDS:
                stated = "json" if heading in ("tracks", "quality") else ""
                properties[heading] = self._read_one(text, stated, heading, record)
            elif heading not in OWN_COLUMNS:
                extra[foreign_name(name)] = self._read_one(text, type_name, heading, record)
        for number in {"accuracy", "area", "length"} & set(properties):
            properties[number] = properties[number].replace(",", ".")
        geometry = self._read_geometry(wkt, record)
        read = build_perimeter(properties, geometry=geometry, source=Source(self.path, "", record))
        return read.replace(extra=extra)

    def _read_geometry(self, wkt: str, record: int) -> Any:
        import shapely

        try:
            geometry = shapely.from_wkt(wkt)
        except shapely.errors.ShapelyError as error:
            raise self._refuse_geometry(wkt, record) from error
        if geometry is None or geometry.geom_type not in ("Polygon", "MultiPolygon"):
            raise self._refuse_geometry(wkt, record)
        return geometry

    def _refuse_geometry(self, wkt: str, record: int) -> ExchangeError:
        return MalformedError(
            f"{wkt[:60]!r} is no polygon",
            path=self.path,
            record=record,
            field=GEOMETRY,
            remedy="A perimeter's row needs a POLYGON or MULTIPOLYGON as WKT.",
        )


def _choose_rows(columns: Mapping[str, Any], rows: NDArray[np.bool_]) -> dict[str, Any]:
    """Return the cells of the chosen rows, without the columns in which all of them are empty."""
    mask = None if rows.all() else to_mask(rows)
    chosen = {heading: cells if mask is None else cells.filter(mask) for heading, cells in columns.items()}
    return {heading: cells for heading, cells in chosen.items() if not find_empty(cells).all()}


def _read_model(kind: type[Table], name: str, cells: Any) -> Any:
    coercion = kind.column_kinds()[name]
    if coercion is to_number_column:
        return read_model_numbers(cells)
    if coercion is to_time_column:
        return read_model_times(cells)
    return read_cells(cells, "int") if name == "segment" else to_texts(cells)


def _find_wrong(cells: Any, type_name: str, records: NDArray[np.int64]) -> int:
    for row in range(len(cells)):
        try:
            read_cells(cells.slice(row, 1), type_name)
        except ValueError:
            return int(records[row])
    return int(records[0])


def _mask(rows: NDArray[np.int64], length: int) -> NDArray[np.bool_]:
    mask = np.zeros(length, dtype=bool)
    mask[rows] = True
    return mask


def _row_texts(columns: Mapping[str, Any], row: int) -> list[tuple[str, str]]:
    texts = [(heading, cells[row].as_py()) for heading, cells in columns.items()]
    return [(heading, text) for heading, text in texts if text]
