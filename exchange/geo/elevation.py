"""A model of the ground: heights on a grid of longitudes and latitudes, read from an ASCII grid file."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from exchange.errors import MalformedError, ReadError

Floats = NDArray[np.float64]

_MOST_CELLS: Final = 200_000_000
_NO_DATA: Final = -9999.0
_REMEDY: Final = "Give an ASCII grid of WGS 84 degrees with the lines ncols, nrows, xllcorner, yllcorner, cellsize."


@dataclass(frozen=True, eq=False)
class ElevationModel:
    """Hold heights of the ground at the middles of cells, and give them anywhere between.

    Parameters
    ----------
    west, south
        Middle of the south-western cell, degrees.
    cell_degrees
        Size of a cell in degrees.
    heights
        Metres above mean sea level, shape (rows, columns), the southernmost row first; NaN is not known.

    Examples
    --------
    >>> ground = ElevationModel(-114.0, 44.0, 0.5, np.array([[100.0, 200.0], [300.0, 400.0]]))
    >>> ground([-113.75], [44.25])
    array([250.])
    """

    west: float
    south: float
    cell_degrees: float
    heights: Floats

    def __call__(self, longitude: ArrayLike, latitude: ArrayLike) -> Floats:
        """Return the height of the ground in metres, bilinear between four cells; NaN beyond the outermost middles."""
        east_by = np.mod(np.asarray(longitude, np.float64) - self.west + 180.0, 360.0) - 180.0
        column, row = east_by / self.cell_degrees, (np.asarray(latitude, np.float64) - self.south) / self.cell_degrees
        rows, columns = self.heights.shape
        # A place on the rim may be a rounding beyond it.
        on_grid = (column >= -1e-6) & (column <= columns - 1 + 1e-6) & (row >= -1e-6) & (row <= rows - 1 + 1e-6)
        column, row = (
            np.clip(np.where(on_grid, value, 0.0), 0.0, most - 1) for value, most in ((column, columns), (row, rows))
        )
        left, below = np.floor(column).astype(np.int64), np.floor(row).astype(np.int64)
        right, above = np.minimum(left + 1, columns - 1), np.minimum(below + 1, rows - 1)
        along, up = column - left, row - below
        low = _between(self.heights[below, left], self.heights[below, right], along)
        high = _between(self.heights[above, left], self.heights[above, right], along)
        return np.where(on_grid, _between(low, high, up), np.nan)


def read_elevation(path: str | os.PathLike[str]) -> ElevationModel:
    """Read an elevation model from an ASCII grid of degrees.

    The head is one word and number a line: ``ncols``, ``nrows``, ``xllcorner`` and ``yllcorner`` (or ``xllcenter`` and
    ``yllcenter``), ``cellsize``, and ``nodata_value`` where there is one; then one row of heights in metres above mean
    sea level a line, the northernmost first.

    Raises
    ------
    ReadError
        If the file cannot be opened.
    MalformedError
        If the head or the number of heights is wrong, or the grid is not in degrees.
    """
    try:
        text = Path(path).read_text(encoding="ascii", errors="replace")
    except OSError as error:
        raise ReadError(
            f"cannot be read: {error.strerror or error}", path=path, remedy="Check the name and the rights."
        ) from error
    try:
        head, body = _split(text)
        if missing := [word for word in ("ncols", "nrows", "cellsize") if word not in head]:
            raise ValueError(f"it states no {' and no '.join(missing)}")
        columns, rows = int(head["ncols"]), int(head["nrows"])
        cell = head["cellsize"]
        west, south = (_middle(head, axis, cell) for axis in "xy")
        heights = np.array(body.split(), dtype=np.float64)
    except (ValueError, OverflowError) as error:
        raise MalformedError(f"is no ASCII grid of heights: {error}", path=path, remedy=_REMEDY) from error
    _require_degrees(path, west, south, cell, rows, columns)
    if len(heights) != rows * columns:
        raise MalformedError(f"holds {len(heights)} heights, not {rows} rows of {columns}", path=path, remedy=_REMEDY)
    heights[heights == head.get("nodata_value", _NO_DATA)] = np.nan
    return ElevationModel(west, south, cell, heights.reshape(rows, columns)[::-1])


def _between(first: Floats, second: Floats, share: Floats) -> Floats:
    # A share of 0 must not take up a second value that is unknown.
    return np.where(share == 0.0, first, first + share * (second - first))


def _split(text: str) -> tuple[dict[str, float], str]:
    head: dict[str, float] = {}
    rest = text
    while rest.lstrip()[:1].isalpha():
        line, _, rest = rest.lstrip().partition("\n")
        word, *value = line.split(maxsplit=1)
        head[word.lower()] = _to_number(" ".join(value), line)
    return head, rest


def _to_number(text: str, line: str) -> float:
    try:
        return float(text)
    except ValueError as error:
        raise ValueError(f"the line {line.strip()[:40]!r} is no word and number") from error


def _middle(head: dict[str, float], axis: str, cell: float) -> float:
    if f"{axis}llcenter" in head:
        return head[f"{axis}llcenter"]
    if f"{axis}llcorner" not in head:
        raise ValueError(f"it states no {axis}llcorner")
    return head[f"{axis}llcorner"] + cell / 2


def _require_degrees(
    path: str | os.PathLike[str], west: float, south: float, cell: float, rows: int, columns: int
) -> None:
    north, east = south + rows * cell, west + columns * cell
    is_on_earth = south >= -90.0 and north <= 90.5 and west >= -360.0 and east <= 540.0
    if not (is_on_earth and 0.0 < cell <= 1.0 and rows > 0 and columns > 0 and rows * columns <= _MOST_CELLS):
        raise MalformedError(
            f"its corner {west:g}, {south:g} and cells of {cell:g} are no degrees", path=path, remedy=_REMEDY
        )
