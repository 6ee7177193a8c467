"""Rows of the house's own layers, back into the model exactly."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import numpy as np

from exchange.errors import MalformedError
from exchange.formats.properties import (
    PACKET_FIELDS,
    PERIMETER,
    TABLES,
    build_perimeter,
    build_table,
    split_track_fields,
)
from exchange.model import Packet, Perimeter, Source, Sources, Track
from exchange.model.columns import ForeignColumn, take_rows, to_foreign_column, to_scalar
from exchange_ogr.fields import read_columns
from exchange_ogr.own_table import FIX, JSON_FIELD, MARK, TRACK_FIELD, TRACK_JSON, load_values
from exchange_ogr.rows import Rows, build_positions, build_shape
from exchange_ogr.sidecar import Sidecar

_KEPT_ASIDE = (MARK, JSON_FIELD, TRACK_FIELD)
_NOTHING: Mapping[str, Any] = {}


class OwnLayer:
    """Read the rows of one layer that this program wrote; a layer is put together when its last row is read.

    Parameters
    ----------
    path, layer
        Where the rows come from.
    fields
        Type by field name, as fiona's schema gives them.
    sidecar
        The file beside a shapefile that keeps what its table cannot hold; it need not exist.
    """

    def __init__(self, path: str, layer: str, fields: Mapping[str, str], *, sidecar: Path) -> None:
        self._path, self._layer, self._fields = path, layer, fields
        self._sidecar = Sidecar.load(sidecar)
        self._rows = Rows.of(fields)

    def read(self, rows: Rows, first_record: int) -> Iterator[Packet]:
        """Take in a batch; ``first_record`` is not needed, since all rows are kept."""
        self._rows.extend(rows)
        yield from ()

    def finish(self) -> Iterator[Packet]:
        """Yield all the rows.

        Raises
        ------
        MalformedError
            When a row's JSON cannot be read, or what must be a point is none.
        """
        columns = self._sidecar.restore(read_columns(self._rows.values, self._fields))
        self._left = self._read_left(columns)
        marks = columns[MARK]
        for mark, kind in TABLES.items():
            rows = np.flatnonzero(marks == mark)
            if len(rows):
                yield Packet(**{PACKET_FIELDS[mark]: self._build(kind, rows, columns)})
        yield Packet(tracks=self._tracks(columns), perimeters=tuple(self._perimeters(columns)))

    def _tracks(self, columns: Mapping[str, ForeignColumn]) -> tuple[Track, ...]:
        rows = np.flatnonzero(columns[MARK] == FIX)
        if not len(rows):
            return ()
        numbers = columns[TRACK_FIELD][rows].astype(np.int64)
        order = np.argsort(numbers, kind="stable")
        found, starts = np.unique(numbers[order], return_index=True)
        pieces = zip(np.split(rows[order], starts[1:]), found.tolist(), strict=True)
        return tuple(self._track(piece, columns, number) for piece, number in pieces)

    def _track(self, rows: Any, columns: Mapping[str, ForeignColumn], number: int) -> Track:
        fields = split_track_fields(self._left.get(int(rows[0]), {}).get(TRACK_JSON, {}))
        track: Track = self._build(Track, rows, columns, number=number, **fields)
        return track

    def _perimeters(self, columns: Mapping[str, ForeignColumn]) -> Iterator[Perimeter]:
        for row in np.flatnonzero(columns[MARK] == PERIMETER).tolist():
            values = {n: to_scalar(column[row]) for n, column in columns.items() if n not in _KEPT_ASIDE}
            values = {name: value for name, value in values.items() if value is not None and value != ""}
            yield build_perimeter(
                values | self._left.get(row, {}),
                geometry=build_shape(self._rows.geometries[row]),
                source=Source(self._path, self._layer, row + 1),
            )

    def _build(self, kind: Any, rows: Any, columns: Mapping[str, ForeignColumn], **fixed: Any) -> Any:
        fields = {name: take_rows(column, rows) for name, column in columns.items() if name not in _KEPT_ASIDE}
        left = [self._left.get(row, _NOTHING) for row in rows.tolist()]
        names = dict.fromkeys(name for values in left for name in values if name != TRACK_JSON)
        fields |= {name: to_foreign_column([values.get(name) for values in left]) for name in names}
        places = build_positions([self._point(row) for row in rows.tolist()])
        if "segment" in kind.column_names():
            fields["segment"] = _whole(fields.get("segment"), len(rows))
        return build_table(
            kind,
            fields,
            source=Sources.of(self._path, self._layer, rows + 1),
            longitude=places[:, 0],
            latitude=places[:, 1],
            **fixed,
        )

    def _point(self, row: int) -> Any:
        place = self._rows.geometries[row]
        if place is None or isinstance(place, tuple):
            return place
        raise MalformedError(
            f"a {place.type} stands where a point must be", path=self._path, layer=self._layer, record=row + 1
        )

    def _read_left(self, columns: Mapping[str, ForeignColumn]) -> dict[int, dict[str, Any]]:
        """Return for each row that has any the values that no field holds."""
        texts = columns[JSON_FIELD].tolist() if JSON_FIELD in columns else []
        rows = {row for row, text in enumerate(texts) if text} | self._sidecar.rows.keys()
        return {row: self._values(row, texts[row] if texts else "") for row in sorted(rows)}

    def _values(self, row: int, text: str) -> dict[str, Any]:
        try:
            return self._sidecar.values(row) | load_values(text)
        except ValueError as error:
            raise MalformedError(
                f"{text!r} is no JSON object", path=self._path, layer=self._layer, record=row + 1, field=JSON_FIELD
            ) from error


def _whole(column: ForeignColumn | None, length: int) -> ForeignColumn:
    values = [0] * length if column is None else [int(value or 0) for value in column.tolist()]
    return np.array(values, dtype=np.int64)
