"""Square cells of the ground, and the rows that lie in one and in a margin around it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Codes = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Cells:
    """Hold which rows lie in which square cell.

    Parameters
    ----------
    east, north
        Metres, shape (n,).
    side_m
        Of a cell.
    order
        Rows by column of cells, and within it by row of cells.
    begins
        Where each cell's rows begin in ``order``, and the end of all.
    columns, rows
        Of each cell, counted from anywhere.
    """

    east: Floats
    north: Floats
    side_m: float
    order: Codes
    begins: Codes
    columns: Codes
    rows: Codes

    @classmethod
    def of(cls, east: Floats, north: Floats, side_m: float) -> Cells:
        """Lay square cells over positions in metres."""
        column, row = (np.floor(values / side_m).astype(np.int64) for values in (east, north))
        order = np.lexsort((row, column))
        column, row = column[order], row[order]
        is_new = np.ones(len(order), bool)
        is_new[1:] = (column[1:] != column[:-1]) | (row[1:] != row[:-1])
        begins = np.flatnonzero(is_new)
        return cls(east, north, side_m, order, np.append(begins, len(order)), column[begins], row[begins])

    def __len__(self) -> int:
        """Return the number of cells that hold a row."""
        return len(self.columns)

    def box(self, cell: int, margin_m: float) -> tuple[float, float, float, float]:
        """Return west, east, south and north of a cell and the margin around it."""
        west, south = self.columns[cell] * self.side_m, self.rows[cell] * self.side_m
        return west - margin_m, west + self.side_m + margin_m, south - margin_m, south + self.side_m + margin_m

    def rows_in(self, cell: int) -> Codes:
        """Return the rows of a cell, in their own order."""
        return np.sort(self.order[self.begins[cell] : self.begins[cell + 1]])

    def rows_around(self, cell: int, margin_m: float) -> Codes:
        """Return the rows of a cell and of the margin around it, in their own order."""
        found = np.concatenate(list(self._near(cell, margin_m)))
        west, east, south, north = self.box(cell, margin_m)
        x, y = self.east[found], self.north[found]
        return np.sort(found[(x >= west) & (x <= east) & (y >= south) & (y <= north)])

    def _near(self, cell: int, margin_m: float) -> Iterator[Codes]:
        """Yield the rows of all cells that the margin touches, column by column."""
        reach = int(np.ceil(margin_m / self.side_m))
        for column in range(int(self.columns[cell]) - reach, int(self.columns[cell]) + reach + 1):
            low, high = (int(np.searchsorted(self.columns, column, side)) for side in ("left", "right"))
            south = low + int(np.searchsorted(self.rows[low:high], self.rows[cell] - reach, "left"))
            north = low + int(np.searchsorted(self.rows[low:high], self.rows[cell] + reach, "right"))
            yield self.order[self.begins[south] : self.begins[north]]
