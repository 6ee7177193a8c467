"""The fence around grid references: what USNG and MGRS allow, and where a reference lies.

Letters and squares follow the Military Grid Reference System (NGA.STND.0037, and DMA TM 8358.1 before it);
the United States National Grid (FGDC-STD-011-2001) is the same grid, written with spaces and at least one digit
an axis. The `mgrs` library is used only to write references: it reads nonsense, such as an odd split of the digits.
"""

from __future__ import annotations

import re
from functools import cache
from typing import Final, Literal, NamedTuple

import numpy as np

from exchange.errors import CoordinateError
from exchange.geo.coordinates.grid_cells import CellProblem, locate_cells, locate_polar_cells

GridForm = Literal["USNG", "MGRS"]

_GAP: Final = "[ \t\u00a0\u2009\u202f]*"
_PATTERN: Final = (
    f"(?i){_GAP}(?:(?P<zone>[0-9]{{1,2}}){_GAP}(?P<band>[C-HJ-NP-X])|(?P<polar>[ABYZ])){_GAP}"
    f"(?P<column>[A-HJ-NP-Z])(?P<row>[A-HJ-NP-Z])"
    f"(?:{_GAP}(?P<joined>(?:[0-9]{{2}})+)|{_GAP}(?P<easting>[0-9]+)[ \t\u00a0]+(?P<northing>[0-9]+))?{_GAP}\\Z"
)
_ZONE_ONLY: Final = f"(?i){_GAP}[0-9]{{1,2}}{_GAP}[C-HJ-NP-X]{_GAP}\\Z"
_SQUARE_ONLY: Final = f"(?i){_GAP}[A-HJ-NP-Z]{{2}}{_GAP}[0-9]+{_GAP}[0-9]*{_GAP}\\Z"


class GridText(NamedTuple):
    """Hold what one grid reference says: a cell of `size_m` in a square of 100 km."""

    zone: int
    band: str
    column: str
    row: str
    easting_in_square_m: float
    northing_in_square_m: float
    size_m: float
    is_spaced: bool


class GridCell(NamedTuple):
    """Hold the centre of a grid cell in degrees, and the cell's size in metres."""

    longitude: float
    latitude: float
    size_m: float


@cache
def _compiled(pattern: str) -> re.Pattern[str]:
    return re.compile(pattern)


def match_grid(text: str) -> GridText | None:
    """Return what a grid reference says, or ``None`` where the text is none.

    Raises
    ------
    CoordinateError
        If the text is a grid reference in part only, or its digits do not pair.
    """
    match = _compiled(_PATTERN).match(text)
    if match is None:
        _refuse_partial(text)
        return None
    digits = match["joined"] or (match["easting"] or "") + (match["northing"] or "")
    count = len(digits) // 2
    if match["easting"] and len(match["easting"]) != len(match["northing"]):
        raise CoordinateError(
            f"{text!r} has {len(match['easting'])} digits of easting and {len(match['northing'])} of northing",
            remedy="Write as many digits for the easting as for the northing.",
        )
    if count > 5:
        raise CoordinateError(f"{text!r} has {count} digits an axis", remedy="Write 1 to 5 digits an axis.")
    size_m = 10.0 ** (5 - count)
    return GridText(
        int(match["zone"] or 0),
        (match["band"] or match["polar"]).upper(),
        match["column"].upper(),
        match["row"].upper(),
        int(digits[:count] or 0) * size_m,
        int(digits[count:] or 0) * size_m,
        size_m,
        bool(re.search(r"[A-Za-z]\s+[0-9A-Za-z]", text.strip())),
    )


def _refuse_partial(text: str) -> None:
    if _compiled(_ZONE_ONLY).match(text):
        raise CoordinateError(
            f"{text!r} is a grid zone, not a position", remedy="Add the square and the digits, as in 18S UJ 2348 0647."
        )
    if _compiled(_SQUARE_ONLY).match(text):
        raise CoordinateError(
            f"{text!r} lacks the grid zone", remedy="Write the zone before the square, as in 18S UJ 2348 0647."
        )
    odd = re.fullmatch(r"(?i)\s*(?:[0-9]{1,2}\s*[C-HJ-NP-X]|[ABYZ])\s*[A-HJ-NP-Z]{2}\s*([0-9]+)\s*", text)
    if odd:
        raise CoordinateError(
            f"{text!r} has an odd number of digits", remedy="Write as many digits for the easting as for the northing."
        )


def locate_grid(text: str, said: GridText) -> GridCell:
    """Return the centre of the cell that a grid reference names.

    Raises
    ------
    CoordinateError
        If zone, letters and northing do not name a place together.
    """
    locate = locate_polar_cells if said.band in "ABYZ" else locate_cells
    cells = locate(*(np.array([value]) for value in said[:7]))
    problem = CellProblem(int(cells.problem[0]))
    if problem is not CellProblem.NONE:
        raise CoordinateError(f"{text!r} {_describe(problem, said)}", remedy=_REMEDIES[problem])
    return GridCell(float(cells.longitude[0]), float(cells.latitude[0]), said.size_m)


_REMEDIES: Final = {
    CellProblem.NO_SUCH_ZONE: "UTM zones are 1 to 60; 32X, 34X and 36X do not exist.",
    CellProblem.NO_SUCH_SQUARE: "Check the two letters of the square and the zone before them.",
    CellProblem.NOT_IN_BAND: "Check the letters: the row letter and the band must agree.",
    CellProblem.NOT_IN_ZONE: "Check the zone and the column letter.",
}


def _describe(problem: CellProblem, said: GridText) -> str:
    zone, square = f"{said.zone or ''}{said.band}", f"{said.column}{said.row}"
    return {
        CellProblem.NO_SUCH_ZONE: f"names the zone {zone}, which does not exist",
        CellProblem.NO_SUCH_SQUARE: f"names the square {square}, which zone {zone} does not have",
        CellProblem.NOT_IN_BAND: f"names the square {square}, which does not lie in {zone}",
        CellProblem.NOT_IN_ZONE: f"names the square {square}, which lies far outside zone {zone}",
    }[problem]
