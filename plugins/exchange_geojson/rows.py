"""Points in the order of the file: gathered as dictionaries or as whole columns, handed out as columns."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from itertools import chain
from typing import Any

import numpy as np
from numpy.typing import NDArray

from exchange.model import Problem
from exchange.model.columns import ForeignColumn, NumberColumn, join_foreign_columns, to_foreign_column
from exchange_geojson.names import INSTANT, LITERAL
from exchange_geojson.positions import to_position_columns


@dataclass(frozen=True)
class Rows:
    """Points of one kind as columns.

    Attributes
    ----------
    longitude, latitude, altitude
        As the file has them, shape (n,).
    columns
        Properties by name, each of shape (n,).
    records
        Which feature of the file each row is, counted from 1, shape (n,).
    problems
        Of reading them.
    """

    longitude: NumberColumn
    latitude: NumberColumn
    altitude: NumberColumn
    columns: dict[str, ForeignColumn]
    records: NDArray[np.int64]
    problems: list[Problem] = field(default_factory=list)

    def __len__(self) -> int:
        """Return the number of points."""
        return len(self.records)

    @classmethod
    def join(cls, parts: Sequence[Rows]) -> Rows:
        """Return several pieces end to end."""
        if len(parts) == 1:
            return parts[0]
        names = dict.fromkeys(name for part in parts for name in part.columns)
        return cls(
            longitude=np.concatenate([part.longitude for part in parts]),
            latitude=np.concatenate([part.latitude for part in parts]),
            altitude=np.concatenate([part.altitude for part in parts]),
            columns={n: join_foreign_columns([(part.columns.get(n), len(part)) for part in parts]) for n in names},
            records=np.concatenate([part.records for part in parts]),
            problems=[problem for part in parts for problem in part.problems],
        )


@dataclass
class PendingRows:
    """Points of one kind that wait for their batch."""

    parts: list[Rows] = field(default_factory=list)
    positions: list[Any] = field(default_factory=list)
    properties: list[dict[str, Any]] = field(default_factory=list)
    records: list[int] = field(default_factory=list)

    def add(self, position: Any, properties: dict[str, Any], record: int) -> None:
        """Add one point; ``position`` is ``None`` where it has none."""
        self.positions.append(position)
        self.properties.append(properties)
        self.records.append(record)

    def add_rows(self, rows: Rows) -> None:
        """Add points that are columns already."""
        self.close_part()
        self.parts.append(rows)

    def take(self) -> Rows:
        """Return all points as columns, and start anew."""
        self.close_part()
        parts, self.parts = self.parts, []
        return Rows.join(parts)

    def close_part(self) -> None:
        """Make columns of the points added so far."""
        if not self.records:
            return
        at = to_position_columns(self.positions)
        columns = to_columns(self.properties) | at.foreign
        # Positions were counted within the part; the record is the feature's.
        problems = [replace(problem, record=self.records[problem.record - 1]) for problem in at.problems]
        records = np.array(self.records, dtype=np.int64)
        self.parts.append(Rows(at.longitude, at.latitude, at.altitude, columns, records, problems))
        self.positions, self.properties, self.records = [], [], []


def to_columns(rows: list[dict[str, Any]]) -> dict[str, ForeignColumn]:
    """Return dictionaries as columns by name, in the order in which the names first appear."""
    names = dict.fromkeys(chain.from_iterable(rows))
    return {name: to_column([row.get(name) for row in rows]) for name in names}


def to_column(values: list[Any]) -> ForeignColumn:
    """Return values as they stand in the file as one column, the house's own instants restored."""
    kinds = set(map(type, values))
    if kinds == {str, type(None)}:
        return _as_objects(["" if value is None else value for value in values])
    if kinds == {float, type(None)}:
        return np.array(values, dtype=np.float64)
    if dict in kinds or list in kinds:
        values = [restore_instants(value) if type(value) in (dict, list) else value for value in values]
    return to_foreign_column(values)


def _as_objects(values: list[Any]) -> ForeignColumn:
    column = np.empty(len(values), dtype=object)
    column[:] = values
    return column


def restore_instants(value: Any) -> Any:
    """Return a value with the instants in it that the house's writer had to write as objects."""
    if isinstance(value, list):
        return [restore_instants(item) for item in value]
    if not isinstance(value, dict):
        return value
    if value.keys() == {INSTANT} and isinstance(value[INSTANT], str):
        return _read_instant(value)
    if value.keys() == {LITERAL} and isinstance(value[LITERAL], dict):
        value = value[LITERAL]
    return {name: restore_instants(item) for name, item in value.items()}


def _read_instant(value: dict[str, Any]) -> Any:
    try:
        instant = datetime.fromisoformat(value[INSTANT])
    except ValueError:
        return value
    return instant if instant.tzinfo else value
