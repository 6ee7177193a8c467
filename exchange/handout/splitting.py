"""More spots than a file may hold become several files, by division or by nearness: none twice, none left out."""

from __future__ import annotations

from typing import Final, Literal, NamedTuple, get_args

import numpy as np
from numpy.typing import NDArray

from exchange.errors import OptionError
from exchange.geo.frame import LocalFrame
from exchange.handout.divisions import Divisions
from exchange.model import Detections

SplitBy = Literal["nearness", "division"]
SPLITS: Final[tuple[SplitBy, ...]] = get_args(SplitBy)

Rows = NDArray[np.int64]
Floats = NDArray[np.float64]


class Part(NamedTuple):
    """Hold the rows of one file, in the order of the hand-out, and their division, if they were split by it."""

    rows: Rows
    division: str = ""


def split_rows(
    spots: Detections, rows: Rows, most: int, *, by: SplitBy = "nearness", divisions: Divisions | None = None
) -> list[Part]:
    """Return the rows as the parts that become files.

    By division every division has files of its own, even where one file would do; what is still too much is split
    by nearness: in two across the longer side, again and again, so that each part is one piece of ground. Rows keep
    their order within a part; rows without a division, or without a position, are parts of their own.

    Parameters
    ----------
    spots
        The list.
    rows
        What is handed out, in order.
    most
        Rows that a part may have; 0 is without limit.
    by
        How to split.
    divisions
        Of the fire.

    Raises
    ------
    OptionError
        When it is to be split by divisions that are not known.
    """
    if by not in SPLITS:
        raise OptionError(f"{by!r} is no way to split", field="--split-by", remedy=f"Use: {', '.join(SPLITS)}.")
    if by == "nearness":
        return [Part(part) for part in _split_near(spots, rows, most)]
    if divisions is None:
        raise OptionError(
            "nothing says where the divisions are", field="--split-by", remedy="Give them as --divisions FILE."
        )
    names = divisions.assign(spots.longitude[rows], spots.latitude[rows])
    held = [name for name in (*dict.fromkeys(divisions.names), "") if (names == name).any()]
    return [Part(part, name) for name in held for part in _split_near(spots, rows[names == name], most)]


def _split_near(spots: Detections, rows: Rows, most: int) -> list[Rows]:
    if not most or len(rows) <= most:
        return [rows]
    is_placed = spots.has_position()[rows]
    placed, rest = np.flatnonzero(is_placed), np.flatnonzero(~is_placed)
    parts = [rest[start : start + most] for start in range(0, len(rest), most)]
    if len(placed):
        x, y = _flatten(spots.longitude[rows[placed]], spots.latitude[rows[placed]])
        parts = [placed[part] for part in _halve(x, y, np.arange(len(placed)), -(-len(placed) // most))] + parts
    return [rows[np.sort(part)] for part in parts]


def _flatten(longitude: Floats, latitude: Floats) -> tuple[Floats, Floats]:
    from exchange.errors import CoordinateError

    try:
        return LocalFrame.around(longitude, latitude).to_metres(longitude, latitude)
    except CoordinateError:
        # All around the earth there is no middle; any cut will do.
        return longitude, latitude


def _halve(x: Floats, y: Floats, rows: Rows, count: int) -> list[Rows]:
    """Return `count` parts of nearly one size, cut across the longer side of the ground they cover."""
    if count == 1:
        return [rows]
    along = x if np.ptp(x[rows]) >= np.ptp(y[rows]) else y
    left = count // 2
    cut = round(len(rows) * left / count)
    ordered = rows[np.argsort(along[rows], kind="stable")]
    return _halve(x, y, ordered[:cut], left) + _halve(x, y, ordered[cut:], count - left)
