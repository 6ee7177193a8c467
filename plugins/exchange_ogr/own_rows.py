"""Rows of the house's own layers, back into the model exactly."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
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
from exchange.model.columns import ForeignColumn, to_foreign_column, to_scalar
from exchange_ogr.fields import read_columns
from exchange_ogr.own_table import FIX, JSON_FIELD, MARK, TRACK_FIELD, TRACK_JSON, load_values
from exchange_ogr.sidecar import Sidecar

_KEPT_ASIDE = (MARK, JSON_FIELD, TRACK_FIELD)


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
        self._records: list[Any] = []

    def read(self, records: Sequence[Any], first_record: int) -> Iterator[Packet]:
        """Take in a batch; ``first_record`` is not needed, since all rows are kept."""
        self._records += records
        yield from ()

    def finish(self) -> Iterator[Packet]:
        """Yield all the rows.

        Raises
        ------
        MalformedError
            When a row's JSON cannot be read.
        """
        columns = self._sidecar.restore(read_columns(self._records, self._fields))
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
        return tuple(self._track(rows[numbers == number], columns, int(number)) for number in np.unique(numbers))

    def _track(self, rows: Any, columns: Mapping[str, ForeignColumn], number: int) -> Track:
        fields = split_track_fields(self._values(int(rows[0]), columns).get(TRACK_JSON, {}))
        track: Track = self._build(Track, rows, columns, number=number, **fields)
        return track

    def _perimeters(self, columns: Mapping[str, ForeignColumn]) -> Iterator[Perimeter]:
        from shapely.geometry import shape

        for row in np.flatnonzero(columns[MARK] == PERIMETER).tolist():
            values = {n: to_scalar(column[row]) for n, column in columns.items() if n not in _KEPT_ASIDE}
            values = {name: value for name, value in values.items() if value is not None and value != ""}
            yield build_perimeter(
                values | self._values(row, columns),
                geometry=shape(self._records[row]["geometry"]),
                source=Source(self._path, self._layer, row + 1),
            )

    def _build(self, kind: Any, rows: Any, columns: Mapping[str, ForeignColumn], **fixed: Any) -> Any:
        fields = {name: column[rows] for name, column in columns.items() if name not in _KEPT_ASIDE}
        left = [self._values(int(row), columns) for row in rows]
        names = dict.fromkeys(name for values in left for name in values if name != TRACK_JSON)
        fields |= {name: to_foreign_column([values.get(name) for values in left]) for name in names}
        geometries = [self._records[row]["geometry"] for row in rows.tolist()]
        places = np.array([(np.nan, np.nan) if g is None else g["coordinates"][:2] for g in geometries], dtype=float)
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

    def _values(self, row: int, columns: Mapping[str, ForeignColumn]) -> dict[str, Any]:
        text = columns[JSON_FIELD][row] if JSON_FIELD in columns else ""
        try:
            return self._sidecar.values(row) | load_values(text or None)
        except ValueError as error:
            raise MalformedError(
                f"{text!r} is no JSON object", path=self._path, layer=self._layer, record=row + 1, field=JSON_FIELD
            ) from error


def _whole(column: ForeignColumn | None, length: int) -> ForeignColumn:
    values = [0] * length if column is None else [int(value or 0) for value in column.tolist()]
    return np.array(values, dtype=np.int64)
