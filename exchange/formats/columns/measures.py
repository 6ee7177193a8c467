"""Foreign numbers become the model's: read strictly, converted by a stated unit, never by a likely one."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from exchange.errors import UnitError
from exchange.formats.columns.targets import SHARE_RATIOS, Target
from exchange.geo.units import CELSIUS, DEGREE, METRE, SQUARE_METRE, Unit, convert, parse_unit
from exchange.model.columns import ForeignColumn, NumberColumn

_BASES: dict[str, Unit] = {"length": METRE, "area": SQUARE_METRE, "temperature": CELSIUS, "angle": DEGREE}
_NUMBER = re.compile(r"\s*([+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?)\s*(.*?)\s*", re.DOTALL)
_COMMA_NUMBER = re.compile(r"\s*([+-]?(?:[0-9]+,?[0-9]*|,[0-9]+)(?:[eE][+-]?[0-9]+)?)\s*(.*?)\s*", re.DOTALL)
_MISSING_WORDS = frozenset({"", "nan"})


@dataclass(frozen=True)
class ReadNumbers:
    """Numbers in the model's unit, and the rows that gave none.

    Attributes
    ----------
    values
        Shape (n,); NaN where missing or not taken.
    unreadable
        Mask of the rows whose value is no number, or none that can be.
    without_unit
        Mask of the rows whose number lacks a unit.
    """

    values: NumberColumn
    unreadable: NDArray[np.bool_]
    without_unit: NDArray[np.bool_]


def read_numbers(column: ForeignColumn, target: Target, *, unit: str = "", decimal_mark: str = "") -> ReadNumbers:
    """Read a foreign column as numbers of a target's quantity.

    Parameters
    ----------
    column
        Typed numbers, or text of shape (n,); a cell of text may carry its own unit (``85 F``).
    target
        What they measure and the lowest value that can be.
    unit
        Word for the unit; empty where none is stated. Angles are in degrees then, a count needs none.
    decimal_mark
        ``,`` where text is written with a decimal comma.
    """
    raw, own_units = _read_cells(column, decimal_mark)
    missing_unit = np.zeros(len(column), dtype=bool)
    values = raw
    if target.quantity is not None:
        stated = unit or ("deg" if target.quantity == "angle" else "")
        values = _convert(raw, stated, target.quantity) if stated else np.full(len(raw), np.nan)
        missing_unit = ~np.isnan(raw) if not stated else missing_unit
    unreadable = _is_given(column) & np.isnan(raw)
    for row, (number, word) in own_units.items():
        converted = _convert_one(number, word, target)
        values = values.copy() if values is raw else values
        values[row] = np.nan if converted is None else converted
        unreadable[row] = converted is None
        missing_unit[row] = False
    return _refuse_impossible(ReadNumbers(values, unreadable, missing_unit), target)


def describe_unit(word: str, target: Target) -> str:
    """Return the full name of a unit that is known to fit a target."""
    if target.quantity is None or target.quantity == "share":
        return word
    return parse_unit(word, quantity=target.quantity).name


def _refuse_impossible(read: ReadNumbers, target: Target) -> ReadNumbers:
    highest = 1.0 if target.quantity == "share" else np.inf
    with np.errstate(invalid="ignore"):
        impossible = (read.values < target.lowest) | (read.values > highest) | np.isinf(read.values)
    if not impossible.any():
        return read
    values = np.where(impossible, np.nan, read.values)
    return ReadNumbers(values, read.unreadable | impossible, read.without_unit)


def _convert(values: NumberColumn, unit: str, quantity: str) -> NumberColumn:
    if quantity == "share":
        # Divided, since 0.01 is no exact number in binary and 85 % should be 0.85.
        return values / round(1 / SHARE_RATIOS[unit.lower()])
    base = _BASES[quantity]
    parsed = parse_unit(unit, quantity=base.quantity)
    return values if parsed is base else np.asarray(convert(values, parsed, base))


def _convert_one(number: float, word: str, target: Target) -> float | None:
    if target.quantity is None or (target.quantity == "share" and word.lower() not in SHARE_RATIOS):
        return None
    try:
        return float(_convert(np.array([number]), word, target.quantity)[0])
    except UnitError:
        return None


def _is_given(column: ForeignColumn) -> NDArray[np.bool_]:
    if column.dtype.kind == "f":
        return np.asarray(~np.isnan(column))
    if column.dtype.kind in "iu":
        return np.ones(len(column), dtype=bool)
    return np.fromiter((not _is_missing(value) for value in column.tolist()), dtype=bool, count=len(column))


def _is_missing(value: Any) -> bool:
    return value is None or (isinstance(value, str) and value.strip().lower() in _MISSING_WORDS) or value != value


def _read_cells(column: ForeignColumn, decimal_mark: str) -> tuple[NumberColumn, dict[int, tuple[float, str]]]:
    if column.dtype.kind in "iuf":
        return column.astype(np.float64), {}
    if column.dtype.kind != "O":
        return np.full(len(column), np.nan), {}
    items = column.tolist()
    fast = None if decimal_mark == "," else _read_plain(items)
    if fast is not None:
        return fast, {}
    return _read_one_by_one(items, _COMMA_NUMBER if decimal_mark == "," else _NUMBER)


def _read_plain(items: list[Any]) -> NumberColumn | None:
    """Return a column of plain numbers as text at once, or ``None`` where a cell is something else."""
    try:
        joined = "".join(items)
        if not joined.isascii() or "_" in joined or "n" in joined.lower():
            return None
        return np.fromiter((float(item or "nan") for item in items), dtype=np.float64, count=len(items))
    except (TypeError, ValueError):
        return None


def _read_one_by_one(items: list[Any], number: re.Pattern[str]) -> tuple[NumberColumn, dict[int, tuple[float, str]]]:
    values = np.full(len(items), np.nan)
    own_units: dict[int, tuple[float, str]] = {}
    for row, item in enumerate(items):
        if isinstance(item, (int, float)) and not isinstance(item, bool):
            values[row] = item
        match = number.fullmatch(item) if isinstance(item, str) else None
        if match is None:
            continue
        value = float(match[1].replace(",", "."))
        if match[2]:
            own_units[row] = (value, match[2])
        else:
            values[row] = value
    return values, own_units
