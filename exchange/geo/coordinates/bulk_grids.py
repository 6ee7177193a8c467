"""Grid references and UTM over whole columns of text, where nothing in a row is in doubt."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

from exchange.geo.coordinates.grid_cells import CellProblem, locate_cells
from exchange.geo.coordinates.utm import PATTERNS, ZoneLetter, from_lettered_utm

if TYPE_CHECKING:
    import pyarrow as pa

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

_GRID: Final = (
    "^(?i) *(?P<zone>[0-9]{1,2}) *(?P<band>[C-HJ-NP-X]) *(?P<column>[A-HJ-NP-Z])(?P<row>[A-HJ-NP-Z])"
    " *(?P<easting>[0-9]{0,10}) *(?P<northing>[0-9]{0,5}) *$"
)


def read_grids(words: pa.Array, *, most_size_m: float) -> tuple[Floats, Floats]:
    """Return the centres of the cells named by USNG and MGRS references, NaN for every other row.

    Parameters
    ----------
    words
        Grid references of zones 1 to 60; the polar ones are left to `parse_position`.
    most_size_m
        The widest cell that is taken: USNG has no bare square of 100 km.
    """
    import pyarrow.compute as pc

    longitude, latitude = np.full(len(words), np.nan), np.full(len(words), np.nan)
    groups = pc.extract_regex(words, _GRID)
    rows = np.flatnonzero(_to_numpy(groups.is_valid()))
    if not len(rows):
        return longitude, latitude
    groups = groups.drop_null()
    easting, northing, size_m = _read_digits(groups.field("easting"), groups.field("northing"))
    is_paired = (size_m > 0.0) & (size_m <= most_size_m)
    zone = _to_numpy(pc.cast(groups.field("zone"), "int64"))
    band, column, row = (_to_letters(groups.field(name)) for name in ("band", "column", "row"))
    cells = locate_cells(zone, band, column, row, easting, northing, size_m)
    is_sure = is_paired & (cells.problem == CellProblem.NONE)
    longitude[rows[is_sure]], latitude[rows[is_sure]] = cells.longitude[is_sure], cells.latitude[is_sure]
    return longitude, latitude


def _read_digits(first: pa.Array, second: pa.Array) -> tuple[Floats, Floats, Floats]:
    """Return easting and northing in the square and the cell's size; size 0 where the digits do not pair."""
    import pyarrow.compute as pc

    first_count, second_count = _to_numpy(pc.utf8_length(first)), _to_numpy(pc.utf8_length(second))
    digits = pc.binary_join_element_wise(first, second, "")
    easting, northing, size_m = (np.zeros(len(first)) for _ in range(3))
    for count in range(6):
        is_joined = (first_count == 2 * count) & (second_count == 0)
        rows = np.flatnonzero(is_joined | ((first_count == count) & (second_count == count)))
        size_m[rows] = 10.0 ** (5 - count)
        if count and len(rows):
            here = digits.take(rows)
            easting[rows] = _to_floats(pc.utf8_slice_codeunits(here, 0, count)) * size_m[rows]
            northing[rows] = _to_floats(pc.utf8_slice_codeunits(here, count)) * size_m[rows]
    return easting, northing, size_m


def read_utm(words: pa.Array, zone_letter: ZoneLetter | None) -> tuple[Floats, Floats]:
    """Return the positions of UTM texts, NaN for every other row; the letter S as `utm.resolve_utm` reads it."""
    import pyarrow.compute as pc

    longitude, latitude = np.full(len(words), np.nan), np.full(len(words), np.nan)
    pending = np.arange(len(words))
    for pattern in PATTERNS:
        groups = pc.extract_regex(words.take(pending), pattern)
        is_match = _to_numpy(groups.is_valid())
        if is_match.any():
            rows = pending[is_match]
            longitude[rows], latitude[rows] = _locate(groups.drop_null(), zone_letter)
            pending = pending[~is_match]
    return longitude, latitude


def _locate(groups: pa.Array, zone_letter: ZoneLetter | None) -> tuple[Floats, Floats]:
    import pyarrow.compute as pc

    zone = _to_numpy(pc.cast(groups.field("zone"), "int64"))
    easting, northing = _to_floats(groups.field("easting")), _to_floats(groups.field("northing"))
    letter = _to_letters(groups.field("letter"), width=5)
    return from_lettered_utm(zone, letter, easting, northing, zone_letter=zone_letter)


def _to_letters(column: pa.Array, *, width: int = 1) -> NDArray[np.str_]:
    import pyarrow.compute as pc

    return _to_numpy(pc.utf8_upper(column)).astype(f"U{width}")


def _to_floats(column: pa.Array) -> Floats:
    return np.asarray(column.cast("float64").to_numpy(zero_copy_only=False), np.float64)


def _to_numpy(column: Any) -> NDArray[Any]:
    return np.asarray(column.to_numpy(zero_copy_only=False))
