"""Placemarks on their way into batches: one by one or as whole columns, in the order of the file."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from exchange.formats.arrow_columns import no_cells, take_rows
from exchange.formats.text_columns import TextCells, to_cells
from exchange_kml.take import STREAMS, Taken
from exchange_kml.walker import Container, Streamed


@dataclass(frozen=True)
class Batch:
    """Some placemarks as columns.

    Attributes
    ----------
    columns
        Texts by key as ``take_placemark`` names them, null where a row has none, each of shape (n,).
    record
        Which placemark of the file each is, counted from 1, shape (n,).
    container
        Index into ``containers`` of each, shape (n,).
    containers
        What they stand in.
    streamed
        Tracks and columns that streamed out of a row, by row.
    """

    columns: Mapping[str, TextCells]
    record: NDArray[np.int64]
    container: NDArray[np.int64]
    containers: tuple[Container, ...]
    streamed: Mapping[int, Streamed] = field(default_factory=dict)

    def __len__(self) -> int:
        """Return the number of rows."""
        return len(self.record)

    def take(self, rows: NDArray[np.int64]) -> Batch:
        """Return some rows, in that order; each may stand several times."""
        if len(rows) == len(self) and (rows == np.arange(len(self))).all():
            return self
        columns = {key: take_rows(cells, rows) for key, cells in self.columns.items()}
        streamed = {new: self.streamed[old] for new, old in enumerate(rows.tolist()) if old in self.streamed}
        return Batch(
            {key: cells for key, cells in columns.items() if cells.null_count < len(cells)},
            self.record[rows],
            self.container[rows],
            self.containers,
            streamed,
        )

    def take_mask(self, rows: NDArray[np.bool_]) -> Batch:
        """Return the rows of a mask."""
        return self.take(np.flatnonzero(rows))

    @classmethod
    def join(cls, parts: list[Batch]) -> Batch:
        """Return several batches end to end."""
        known: dict[Container, int] = {}
        codes = []
        streamed: dict[int, Streamed] = {}
        start = 0
        for part in parts:
            renumbered = np.array([known.setdefault(c, len(known)) for c in part.containers], dtype=np.int64)
            codes.append(renumbered[part.container])
            streamed |= {start + row: value for row, value in part.streamed.items()}
            start += len(part)
        keys = dict.fromkeys(key for part in parts for key in part.columns)
        return cls(
            {key: _join_cells([(part.columns.get(key), len(part)) for part in parts]) for key in keys},
            np.concatenate([part.record for part in parts]),
            np.concatenate(codes),
            tuple(known),
            streamed,
        )


def _join_cells(parts: list[tuple[TextCells | None, int]]) -> TextCells:
    import pyarrow as pa

    return pa.concat_arrays([no_cells(rows) if cells is None else cells for cells, rows in parts])


@dataclass
class Gatherer:
    """Collect placemarks until there are enough for a batch.

    Attributes
    ----------
    count
        How many rows wait.
    records
        How many placemarks of the file have been seen.
    """

    count: int = 0
    records: int = 0
    _parts: list[Batch] = field(default_factory=list)
    _rows: list[tuple[Taken, Container, Streamed]] = field(default_factory=list)

    def add_row(self, taken: Taken, container: Container, streamed: Streamed) -> None:
        """Take one placemark."""
        self._rows.append((taken, container, streamed))
        self.count += 1
        self.records += 1

    def add_columns(self, columns: Mapping[str, TextCells], length: int, container: Container) -> None:
        """Take several placemarks of one container that are columns already."""
        self._close_rows()
        record = np.arange(self.records + 1, self.records + length + 1)
        self._parts.append(Batch(columns, record, np.zeros(length, dtype=np.int64), (container,)))
        self.count += length
        self.records += length

    def take(self) -> Batch | None:
        """Return what waits as one batch, or ``None`` when nothing does."""
        self._close_rows()
        parts, self._parts, self.count = self._parts, [], 0
        return Batch.join(parts) if parts else None

    def _close_rows(self) -> None:

        rows, self._rows = self._rows, []
        if not rows:
            return
        keys = dict.fromkeys(key for taken, _, _ in rows for key in taken if key != STREAMS)
        columns = {key: to_cells([taken.get(key) for taken, _, _ in rows]) for key in keys}
        known: dict[Container, int] = {}
        code = np.array([known.setdefault(container, len(known)) for _, container, _ in rows], dtype=np.int64)
        streamed = {n: value for n, (_, _, value) in enumerate(rows) if value.tracks or value.arrays}
        record = np.arange(self.records - len(rows) + 1, self.records + 1)
        self._parts.append(Batch(columns, record, code, tuple(known), streamed))
