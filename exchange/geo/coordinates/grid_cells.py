"""Where the cells of the Military Grid Reference System lie, over columns, and which of them do not exist."""

from __future__ import annotations

from enum import IntEnum
from functools import cache
from typing import TYPE_CHECKING, Any, Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from exchange.geo.coordinates.utm import BANDS, NORTH_LIMIT_DEGREES, SOUTH_LIMIT_DEGREES, is_in_band, project_back

if TYPE_CHECKING:
    from pyproj import Proj

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]
Letters = NDArray[np.str_]

SQUARE_M: Final = 100_000.0
_ROW_CYCLE_M: Final = 2_000_000.0
# Columns of zones 3, 6, ..., of zones 1, 4, ... and of zones 2, 5, ...; rows start at F in even zones.
_COLUMN_SETS: Final = ("STUVWXYZ", "ABCDEFGH", "JKLMNPQR")
_ROWS: Final = "ABCDEFGHJKLMNPQRSTUV"
# Northing in km of each band's lowest point over the width of a zone, rounded down to a whole square.
_LEAST_NORTHING_KM: Final = np.array(
    [1100, 2000, 2800, 3700, 4600, 5500, 6400, 7300, 8200, 9100, 0, 800, 1700, 2600, 3500, 4400, 5300, 6200, 7000, 7900]
)
# Polar squares have no columns D, E, M, N, V, W; those of the north reach 700 km from the pole, of the south 1200 km.
_POLAR_COLUMNS: Final = {"A": "JKLPQRSTUXYZ", "B": "ABCFGHJKLPQR", "Y": "RSTUXYZ", "Z": "ABCFGHJ"}
_POLAR_ROWS: Final = {"A": "ABCDEFGHJKLMNPQRSTUVWXYZ", "Y": "ABCDEFGHJKLMNP"}
_POLE_M: Final = 2_000_000.0
# A place up to 40 km beyond its zone may still be written in it (from memory: neighbouring grids overlap so far).
_ZONE_OVERLAP_M: Final = 40_000.0
_METRES_PER_DEGREE: Final = 111_320.0
# Half the diagonal of a cell one metre wide, in degrees of latitude.
_HALF_DIAGONAL_DEGREES: Final = 0.7072 / 110_574.0
# Zones that are wider or narrower than six degrees: zone, band, west, east (Norway and Svalbard).
_ODD_ZONES: Final = (
    (31, "V", 0, 3),
    (32, "V", 3, 12),
    (31, "X", 0, 9),
    (33, "X", 9, 21),
    (35, "X", 21, 33),
    (37, "X", 33, 42),
)


class CellProblem(IntEnum):
    """Say why letters name no cell."""

    NONE = 0
    NO_SUCH_ZONE = 1
    NO_SUCH_SQUARE = 2
    NOT_IN_BAND = 3
    NOT_IN_ZONE = 4


class Cells(NamedTuple):
    """Hold the centres of cells in degrees, NaN where there is a problem, and the problem of each."""

    longitude: Floats
    latitude: Floats
    problem: Integers


def locate_cells(
    zone: Integers,
    band: Letters,
    column: Letters,
    row: Letters,
    easting_in_square_m: Floats,
    northing_in_square_m: Floats,
    size_m: Floats,
) -> Cells:
    """Return the centres of cells in zones 1 to 60.

    Parameters
    ----------
    zone, band, column, row
        The number and the upper-case letters before the digits.
    easting_in_square_m, northing_in_square_m
        The cell's south-western corner in its 100 km square.
    size_m
        The cell's width.
    """
    band_index = _index_in(BANDS, band)
    column_index = _column_index(zone, column)
    row_index = _index_in(_ROWS, row)
    is_zone = (zone >= 1) & (zone <= 60) & (band_index >= 0)
    is_zone &= ~((band == "X") & np.isin(zone, (32, 34, 36)))
    is_square = (column_index >= 0) & (row_index >= 0)
    centre = size_m / 2.0
    easting = (column_index + 1) * SQUARE_M + easting_in_square_m + centre
    northing = _southern_edge_m(zone, band_index, row_index) + northing_in_square_m + centre
    longitude, latitude = project_back(np.where(is_zone & is_square, zone, 0), band >= "N", easting, northing)
    problem = _first_problem(
        (~is_zone, CellProblem.NO_SUCH_ZONE),
        (~is_square, CellProblem.NO_SUCH_SQUARE),
        (~is_in_band(latitude, band_index, size_m * _HALF_DIAGONAL_DEGREES), CellProblem.NOT_IN_BAND),
        (_metres_beyond_zone(zone, band, longitude, latitude) > _ZONE_OVERLAP_M + centre, CellProblem.NOT_IN_ZONE),
    )
    return _cells(longitude, latitude, problem)


def locate_polar_cells(
    zone: Integers,
    band: Letters,
    column: Letters,
    row: Letters,
    easting_in_square_m: Floats,
    northing_in_square_m: Floats,
    size_m: Floats,
) -> Cells:
    """Return the centres of cells in the polar zones A, B, Y and Z; the parameters are those of `locate_cells`."""
    cells = Cells(np.full(zone.shape, np.nan), np.full(zone.shape, np.nan), np.zeros(zone.shape, np.int64))
    cells.problem[:] = CellProblem.NO_SUCH_ZONE
    for letter, columns in _POLAR_COLUMNS.items():
        here = band == letter
        rows = _POLAR_ROWS["A" if letter in "AB" else "Y"]
        column_index, row_index = _index_in(columns, column[here]), _index_in(rows, row[here])
        west = _POLE_M - (len(columns) * SQUARE_M if letter in "AY" else 0.0)
        south = _POLE_M - len(rows) / 2.0 * SQUARE_M
        size = size_m[here]
        longitude, latitude = _polar(letter in "YZ")(
            west + column_index * SQUARE_M + easting_in_square_m[here] + size / 2.0,
            south + row_index * SQUARE_M + northing_in_square_m[here] + size / 2.0,
            inverse=True,
        )
        slack = size * _HALF_DIAGONAL_DEGREES
        in_north, in_south = latitude >= NORTH_LIMIT_DEGREES - slack, latitude <= SOUTH_LIMIT_DEGREES + slack
        problem = _first_problem(
            ((column_index < 0) | (row_index < 0), CellProblem.NO_SUCH_SQUARE),
            (~(in_north if letter in "YZ" else in_south), CellProblem.NOT_IN_BAND),
        )
        for whole, part in zip(cells, _cells(longitude, latitude, problem), strict=True):
            whole[here] = part
    return cells


def _index_in(letters: str, column: Letters) -> Integers:
    """Return each letter's place, or -1."""
    table = np.full(128, -1, np.int64)
    table[[ord(letter) for letter in letters]] = np.arange(len(letters))
    codes = np.ascontiguousarray(column.astype("U1")).view(np.uint32)
    return np.asarray(table[np.minimum(codes, 127)], np.int64)


def _column_index(zone: Integers, column: Letters) -> Integers:
    by_set = [_index_in(letters, column) for letters in _COLUMN_SETS]
    return np.asarray(np.choose(zone % 3, by_set), np.int64)


def _southern_edge_m(zone: Integers, band_index: Integers, row_index: Integers) -> Floats:
    """Return the northing of the square's southern edge: rows repeat every 2000 km."""
    in_cycle = (row_index - np.where(zone % 2 == 1, 0, 5)) % len(_ROWS) * SQUARE_M
    least = _LEAST_NORTHING_KM[band_index] * 1000.0
    return np.asarray(in_cycle + np.ceil((least - in_cycle) / _ROW_CYCLE_M) * _ROW_CYCLE_M, np.float64)


def _metres_beyond_zone(zone: Integers, band: Letters, longitude: Floats, latitude: Floats) -> Floats:
    west = 6.0 * zone - 186.0
    east = west + 6.0
    for odd_zone, odd_band, odd_west, odd_east in _ODD_ZONES:
        here = (zone == odd_zone) & (band == odd_band)
        west, east = np.where(here, odd_west, west), np.where(here, odd_east, east)
    from_middle = np.abs((longitude - (west + east) / 2.0 + 180.0) % 360.0 - 180.0)
    return np.asarray((from_middle - (east - west) / 2.0) * _METRES_PER_DEGREE * np.cos(np.radians(latitude)))


def _first_problem(*checks: tuple[NDArray[np.bool_], CellProblem]) -> Integers:
    return np.select([is_wrong for is_wrong, _ in checks], [int(problem) for _, problem in checks], default=0)


def _cells(longitude: Any, latitude: Any, problem: Integers) -> Cells:
    is_good = problem == CellProblem.NONE
    return Cells(np.where(is_good, longitude, np.nan), np.where(is_good, latitude, np.nan), problem)


@cache
def _polar(is_north: bool) -> Proj:
    # Universal Polar Stereographic: scale 0.994 at the pole, false origin 2000 km (NGA.SIG.0012).
    from pyproj import Proj

    return Proj(proj="ups", south=not is_north, datum="WGS84")
