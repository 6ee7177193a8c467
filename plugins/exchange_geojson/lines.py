"""Lines become tracks: the house's own with their per-fix columns, a stranger's with the arrays that fit them."""

from __future__ import annotations

from itertools import chain
from typing import Any

import numpy as np

from exchange.formats.foreign import read_foreign_fixes
from exchange.formats.options import ReadOptions
from exchange.formats.properties import KIND, build_table, split_track_fields
from exchange.model import Problem, Sources, Track
from exchange.model.columns import ForeignColumn, to_foreign_column
from exchange_geojson.crs import Placement
from exchange_geojson.geometries import read_lines
from exchange_geojson.names import FIXES, PIECE
from exchange_geojson.positions import AXES, to_position_columns
from exchange_geojson.rows import Rows, restore_instants, to_column


class LineReader:
    """Make tracks of lines.

    Parameters
    ----------
    file_name, layer
        As sources name them.
    options, placement
        How foreign fields and positions are taken.
    """

    def __init__(
        self,
        file_name: str,
        layer: str,
        options: ReadOptions,
        placement: Placement,
    ) -> None:
        self._file, self._layer = file_name, layer
        self._options, self._placement = options, placement
        self._number = 0

    def read_foreign(
        self, name: str, coordinates: Any, properties: dict[str, Any], record: int
    ) -> tuple[Track, list[Problem]]:
        """Return a stranger's line as a track.

        Raises
        ------
        GeometryError
            When the coordinates are not nested as the type asks.
        """
        positions, lengths = read_lines(coordinates, is_multiple=name == "MultiLineString")
        per_fix, whole = split_per_fix(properties, lengths)
        at = self._place(positions, per_fix, record)
        title = whole.pop("name") if isinstance(whole.get("name"), str) else ""
        track, problems = read_foreign_fixes(
            at.columns,
            longitude=at.longitude,
            latitude=at.latitude,
            altitude=None if np.isnan(at.altitude).all() else at.altitude,
            source=Sources.of(self._file, self._layer, at.records),
            options=self._options,
            properties=whole,
            name=title,
            number=record,
            segment=_number_segments(lengths),
        )
        return track, [*at.problems, *problems]

    def read_own(self, geometry: Any, properties: dict[str, Any], record: int) -> tuple[Track, list[Problem]]:
        """Return a track that the house wrote.

        A line that was changed since, so that the per-fix columns no longer fit it, is read like a stranger's.

        Raises
        ------
        MalformedError
            When a per-fix value is not of its column's kind.
        GeometryError
            When the coordinates are not nested as the type asks.
        """
        name = geometry["type"] if geometry else "LineString"
        coordinates = geometry.get("coordinates") if geometry else []
        positions, lengths = read_lines(coordinates, is_multiple=name == "MultiLineString")
        fixes, piece = properties.get(FIXES, {}), properties.get(PIECE, 0)
        columns = _read_fixes(fixes, len(positions))
        if columns is None:
            track, problems = self.read_foreign(name, coordinates, _without_mark(properties), record)
            return track, [_tell_changed(self._layer, record), *problems]
        self._number = self._number if piece and self._number else record
        fixed = self._place_own(positions, lengths, columns, record)
        count = len(fixed["longitude"])
        whole = {n: restore_instants(v) for n, v in _without_mark(properties).items() if n not in (FIXES, PIECE)}
        source = Sources.of(self._file, self._layer, np.full(count, record))
        fields = split_track_fields(whole)
        return build_table(Track, columns, source=source, number=self._number, **fixed, **fields), []

    def _place_own(
        self, positions: list[Any], lengths: list[int], columns: dict[str, ForeignColumn], record: int
    ) -> dict[str, Any]:
        """Return the columns that stand in the geometry, unless they are among the per-fix columns."""
        if "longitude" in columns:
            return {axis: columns.pop(axis).astype(np.float64) for axis in AXES if axis in columns} | (
                {} if "segment" not in columns else {"segment": columns.pop("segment")}
            )
        at = self._place(positions, {}, record)
        fixed: dict[str, Any] = {"longitude": at.longitude, "latitude": at.latitude}
        if "altitude" not in columns:
            fixed["altitude"] = at.altitude
        if "segment" not in columns:
            fixed["segment"] = _number_segments(lengths)
        return fixed

    def _place(self, positions: list[Any], columns: dict[str, ForeignColumn], record: int) -> Rows:
        at = to_position_columns(positions)
        records = np.full(len(positions), record, dtype=np.int64)
        rows = Rows(at.longitude, at.latitude, at.altitude, columns | at.foreign, records, at.problems)
        return self._placement.place(rows)


def split_per_fix(properties: dict[str, Any], lengths: list[int]) -> tuple[dict[str, ForeignColumn], dict[str, Any]]:
    """Return the properties that hold one value for each position as columns, and the others as they are.

    That is an array as long as the line (for several lines also an array of such arrays), or an object of nothing
    but such arrays. On a line of two positions only times count, since any pair of values would fit.
    """
    columns: dict[str, ForeignColumn] = {}
    whole: dict[str, Any] = {}
    for name, value in properties.items():
        found = _find_arrays(name, value, lengths)
        if found:
            columns |= {n: to_foreign_column(items) for n, items in found.items() if n not in columns}
        if not found or not found.keys() <= columns.keys():
            whole[name] = value
    return _name_times(columns), whole


def _find_arrays(name: str, value: Any, lengths: list[int]) -> dict[str, list[Any]]:
    if isinstance(value, dict) and value:
        arrays = {inner: _flatten_array(inner, items, lengths) for inner, items in value.items()}
        return {n: items for n, items in arrays.items() if items is not None} if None not in arrays.values() else {}
    items = _flatten_array(name, value, lengths)
    return {} if items is None else {name: items}


def _flatten_array(name: str, value: Any, lengths: list[int]) -> list[Any] | None:
    count = sum(lengths)
    if not isinstance(value, list) or count < 2 or (count == 2 and "time" not in name.lower()):
        return None
    if len(value) == len(lengths) > 1 and all(isinstance(part, list) for part in value):
        return list(chain.from_iterable(value)) if [len(part) for part in value] == lengths else None
    return value if len(value) == count and not any(isinstance(item, (list, dict)) for item in value) else None


def _name_times(columns: dict[str, ForeignColumn]) -> dict[str, ForeignColumn]:
    """Return the columns with the one whose name says that it holds times called ``time``."""
    if any(name.lower() == "time" for name in columns):
        return columns
    plural = next((name for name in columns if name.lower().endswith("times")), None)
    return {("time" if name == plural else name): column for name, column in columns.items()}


def _read_fixes(fixes: Any, count: int) -> dict[str, ForeignColumn] | None:
    """Return the per-fix columns, or ``None`` where they do not fit the line."""
    if not isinstance(fixes, dict) or not all(isinstance(items, list) for items in fixes.values()):
        return None
    wanted = len(fixes["longitude"]) if "longitude" in fixes else count
    if any(len(items) != wanted for items in fixes.values()) or ("longitude" in fixes) != ("latitude" in fixes):
        return None
    columns = {name: to_column(items) for name, items in fixes.items()}
    numbers = [columns[name] for name in (*AXES, "segment") if name in columns]
    return columns if all(column.dtype.kind in "if" or _is_empty(column) for column in numbers) else None


def _is_empty(column: ForeignColumn) -> bool:
    return all(value is None for value in column)


def _number_segments(lengths: list[int]) -> Any:
    return np.repeat(np.arange(len(lengths)), lengths)


def _without_mark(properties: dict[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in properties.items() if name != KIND}


def _tell_changed(layer: str, record: int) -> Problem:
    return Problem(
        message="the line was changed after this program wrote it, and its per-fix values no longer fit it",
        severity="changed",
        remedy="They were kept as a property of the whole track.",
        layer=layer,
        record=record,
        field=FIXES,
    )
