"""Lists of GeoJSON positions as columns of numbers."""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import chain
from typing import Any

import numpy as np
from numpy.typing import NDArray

from exchange.formats.positions import POSITION_TEXT
from exchange.formats.values import to_text
from exchange.model import Problem
from exchange.model.columns import ForeignColumn, NumberColumn, has_any_value, to_foreign_column

AXES = ("longitude", "latitude", "altitude")


@dataclass(frozen=True)
class PositionColumns:
    """Positions as columns, each of shape (n,).

    Attributes
    ----------
    longitude, latitude, altitude
        As read, NaN where there is none; before any coordinate reference system is applied.
    foreign
        What had no place in them: refused positions as text, numbers beyond the third.
    problems
        What was repaired or refused; their record counts positions from 1.
    """

    longitude: NumberColumn
    latitude: NumberColumn
    altitude: NumberColumn
    foreign: dict[str, ForeignColumn] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)


def to_position_columns(positions: list[Any]) -> PositionColumns:
    """Return GeoJSON positions as columns; ``None`` is a missing one, what is no position is kept as text."""
    regular = _read_regular(positions)
    if regular is not None:
        return PositionColumns(regular[0], regular[1], regular[2])
    return _read_one_by_one(positions)


def _read_regular(positions: list[Any]) -> list[NDArray[np.float64]] | None:
    """Read positions that are all lists of two, or all of three, plain numbers."""
    try:
        lengths = set(map(len, positions))
        kinds = set(map(type, chain.from_iterable(positions)))
    except TypeError:
        return None
    if len(lengths) != 1 or not lengths <= {2, 3} or not kinds <= {float, int}:
        return None
    try:
        columns = list(np.array(positions, dtype=np.float64).T.copy())
    except OverflowError:
        return None
    return columns if len(columns) == 3 else [*columns, np.full(len(positions), np.nan)]


def _read_one_by_one(positions: list[Any]) -> PositionColumns:
    numbers = np.full((3, len(positions)), np.nan)
    refused: list[Any] = [None] * len(positions)
    further: dict[str, list[Any]] = {}
    problems: list[Problem] = []
    for row, position in enumerate(positions):
        if position is None or position == []:
            continue
        read = _read_position(position, row + 1, problems)
        if read is None:
            refused[row] = to_text(position)
            continue
        numbers[: len(read[:3]), row] = read[:3]
        for axis, value in enumerate(position[3:], start=4):
            further.setdefault(f"coordinate_{axis}", [None] * len(positions))[row] = value
    foreign = {name: to_foreign_column(values) for name, values in ({POSITION_TEXT: refused} | further).items()}
    held = {name: column for name, column in foreign.items() if has_any_value(column)}
    return PositionColumns(numbers[0], numbers[1], numbers[2], held, problems)


def _read_position(position: Any, record: int, problems: list[Problem]) -> list[float] | None:
    if isinstance(position, list) and len(position) > 1:
        numbers = [_read_number(value) for value in position[:3]]
        if None not in numbers[:2]:
            if any(isinstance(value, str) for value in position[:3]):
                problems.append(_tell("the coordinates are text; they were read as numbers", position, record))
            return [float("nan") if number is None else number for number in numbers]
    problems.append(_tell("is no position; it was kept as text", position, record, severity="skipped"))
    return None


def _read_number(value: Any) -> float | None:
    if isinstance(value, bool) or not isinstance(value, (int, float, str)):
        return None
    try:
        number = float(value) if not isinstance(value, str) or value.isascii() else None
    except (ValueError, OverflowError):
        return None
    return number if number is not None and np.isfinite(number) else None


def _tell(message: str, position: Any, record: int, *, severity: Any = "changed") -> Problem:
    return Problem(
        message=message,
        severity=severity,
        remedy="Mend the position in the file." if severity == "skipped" else "",
        field="coordinates",
        value=to_text(position),
        record=record,
    )
