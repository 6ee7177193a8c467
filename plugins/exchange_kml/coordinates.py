"""Coordinates as KML writes them: ``longitude,latitude[,altitude]``, tuples apart by white space.

What breaks the rules of OGC 12-007r2, 16.10 is read where it can mean one thing only, and told either way.
"""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from exchange.formats.arrow_columns import find_valid, take_rows, to_mask, to_numbers
from exchange.formats.text_columns import TextCells, to_cells
from exchange.model.columns import NumberColumn

NAN = float("nan")
_REGULAR = r"^-?[0-9]+(\.[0-9]+)?,-?[0-9]+(\.[0-9]+)?(,-?[0-9]+(\.[0-9]+)?)?$"
_NUMBER = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)([eE][+-]?[0-9]+)?")
_AROUND_COMMA = re.compile(r"\s*,\s*")
_BLANK_BY_COMMA = re.compile(r"\s,|,\s")
_NO_DECIMAL = re.compile(r"[^0-9+\-.,\s]")

SPACED = "blanks stand beside the commas of the coordinates; they are read as if there were none"
EXPONENT = "a coordinate is written with an exponent, which KML does not allow; it is read as the number it is"
SEVERAL = "a point has several positions; the first is taken"
FOUR_VALUES = "a position has more than three values; the first three are taken"
NO_ALTITUDE = "the altitude of a position is no number; it is missing now"
NO_POSITION = "the coordinates are no position; the record is kept without one, the text in position_text"
LEFT_OUT = "a position of a line or ring is none; it is left out"
EMPTY = "a point has no coordinates; the record is kept without a position"

NOTES = frozenset((SPACED, EXPONENT))
CHANGES = frozenset((SEVERAL, FOUR_VALUES, NO_ALTITUDE))


@dataclass
class Faults:
    """Which rules were broken: how often, and the text and the row where each was first met."""

    count: Counter[str] = field(default_factory=Counter)
    first: dict[str, tuple[int, str]] = field(default_factory=dict)

    def add(self, fault: str, row: int, text: str) -> None:
        """Count one."""
        self.count[fault] += 1
        self.first.setdefault(fault, (row, text.strip()))


@dataclass(frozen=True)
class PointColumns:
    """Positions of many points, each of shape (n,).

    Attributes
    ----------
    longitude, latitude, altitude
        NaN where there is none.
    kept_text
        The text of the rows whose position was not taken as it stands, else empty; ``None`` when there is no such row.
    faults
        Which rules were broken.
    """

    longitude: NumberColumn
    latitude: NumberColumn
    altitude: NumberColumn
    kept_text: NDArray[np.object_] | None
    faults: Faults


def parse_points(cells: TextCells) -> PointColumns:
    """Read the coordinates of points, one text a row; null where the row is no point."""
    import pyarrow.compute as pc

    length = len(cells)
    axes = np.full((3, length), np.nan)
    trimmed = pc.ascii_trim_whitespace(cells)
    regular = to_mask(pc.match_substring_regex(trimmed, _REGULAR))
    _parse_regular(trimmed, regular, axes)
    rows = np.flatnonzero(~regular & find_valid(cells))
    faults = Faults()
    kept = _parse_rest(cells, rows, axes, faults)
    return PointColumns(axes[0], axes[1], axes[2], kept, faults)


def _parse_regular(trimmed: TextCells, regular: NDArray[np.bool_], axes: NDArray[np.float64]) -> None:
    import pyarrow as pa
    import pyarrow.compute as pc

    rows = np.flatnonzero(regular)
    if not len(rows):
        return
    texts = trimmed if len(rows) == len(trimmed) else take_rows(trimmed, rows)
    parts = pc.split_pattern(texts, ",")
    values = to_numbers(pc.list_flatten(parts).cast(pa.float64()))
    counts = to_numbers(pc.list_value_length(parts))
    first = np.cumsum(counts) - counts
    axes[0, rows], axes[1, rows] = values[first], values[first + 1]
    high = counts == 3
    axes[2, rows[high]] = values[first[high] + 2]


def _parse_rest(
    cells: TextCells, rows: NDArray[np.int64], axes: NDArray[np.float64], faults: Faults
) -> NDArray[np.object_] | None:
    kept: NDArray[np.object_] | None = None
    for row in rows.tolist():
        text = cells[row].as_py()
        position, broken = read_position(text)
        axes[:, row] = position
        for fault in broken:
            faults.add(fault, row, text)
        if set(broken) - NOTES and text.strip():
            kept = np.full(len(cells), "", dtype=object) if kept is None else kept
            kept[row] = text.strip()
    return kept


def read_position(text: str) -> tuple[tuple[float, float, float], list[str]]:
    """Read one position, and name the rules it breaks.

    >>> read_position("-114.2, 44.5")[0][:2], read_position("40 N,-120")[1] == [NO_POSITION]
    ((-114.2, 44.5), True)
    """
    if not text.strip():
        return (NAN, NAN, NAN), [EMPTY]
    tuples = _AROUND_COMMA.sub(",", text.strip()).split()
    broken = [SPACED] if _BLANK_BY_COMMA.search(text.strip()) else []
    position, others = read_tuple(tuples[0])
    if NO_POSITION in others or any(NO_POSITION in read_tuple(other)[1] for other in tuples[1:]):
        return (NAN, NAN, NAN), [NO_POSITION]
    return position, broken + others + ([SEVERAL] if len(tuples) > 1 else [])


def read_tuple(text: str) -> tuple[tuple[float, float, float], list[str]]:
    """Read ``longitude,latitude[,altitude]`` without blanks, and name the rules it breaks."""
    values = text.split(",")
    matches = [_NUMBER.fullmatch(value) for value in values[:3]]
    if len(values) < 2 or matches[0] is None or matches[1] is None:
        return (NAN, NAN, NAN), [NO_POSITION]
    broken = [EXPONENT] if any(match and match[1] for match in matches) else []
    has_height = len(values) > 2 and values[2] != ""
    if has_height and matches[2] is None:
        broken.append(NO_ALTITUDE)
    if len(values) > 3:
        broken.append(FOUR_VALUES)
    altitude = float(values[2]) if has_height and matches[2] else NAN
    return (float(values[0]), float(values[1]), altitude), broken


def parse_line(text: str, faults: Faults) -> NDArray[np.float64]:
    """Read the coordinates of a line or ring, shape (n, 3); a position that is none is left out and counted."""
    regular = _parse_regular_line(text)
    if regular is not None:
        return regular
    positions = []
    if _BLANK_BY_COMMA.search(text):
        faults.add(SPACED, 0, text[:80])
    for piece in _AROUND_COMMA.sub(",", text.strip()).split():
        position, broken = read_tuple(piece)
        for fault in broken:
            faults.add(LEFT_OUT if fault == NO_POSITION else fault, 0, piece)
        if NO_POSITION not in broken:
            positions.append(position)
    return np.array(positions, dtype=np.float64).reshape(-1, 3)


def _parse_regular_line(text: str) -> NDArray[np.float64] | None:
    import pyarrow as pa

    tuples = text.split()
    if not tuples or _NO_DECIMAL.search(text) or _BLANK_BY_COMMA.search(text.strip()):
        return None
    commas = tuples[0].count(",")
    if commas not in (1, 2) or any(piece.count(",") != commas for piece in tuples):
        return None
    try:
        values = to_numbers(to_cells(",".join(tuples).split(",")).cast(pa.float64()))
    except pa.ArrowInvalid:
        return None
    positions = np.full((len(tuples), 3), np.nan)
    positions[:, : commas + 1] = values.reshape(-1, commas + 1)
    return positions
