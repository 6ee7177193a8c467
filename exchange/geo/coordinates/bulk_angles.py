"""Angles over whole columns of text: the patterns of `degrees`, run by RE2, and the arithmetic by numpy."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from exchange.geo.coordinates.degrees import LIMIT_DEGREES, STYLES, Axis, add_up, pattern_of

if TYPE_CHECKING:
    import pyarrow as pa

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
Integers = NDArray[np.int64]

_PLAIN: Final = "^[+-]?(?:[0-9]{1,3}(?:[.][0-9]{1,20})?|[.][0-9]{1,20})$"
_LATITUDE: Final = 1
_LONGITUDE: Final = 2
_NORTH, _SOUTH, _EAST, _WEST = 1, 2, 3, 4
_LETTERS: Final = {"": 0, "N": _NORTH, "S": _SOUTH, "E": _EAST, "W": _WEST} | {
    "NORTH": _NORTH,
    "SOUTH": _SOUTH,
    "EAST": _EAST,
    "WEST": _WEST,
}
_PLUS, _MINUS = 1, 2
_SIGNS: Final = {"": 0, "+": _PLUS, "-": _MINUS, "\u2212": _MINUS, "\u2013": _MINUS}
_LABELS: Final = (
    {"": 0}
    | dict.fromkeys(("lat", "latitude"), _LATITUDE)
    | dict.fromkeys(("lon", "long", "lng", "longitude"), _LONGITUDE)
)
_SAMPLE_ROWS: Final = 500


class BulkAngles(NamedTuple):
    """Hold angles as columns.

    Parameters
    ----------
    degrees
        Signed degrees.
    axis
        1 for a latitude, 2 for a longitude, 0 where the text does not say.
    form
        DD, DDM or DMS, or blank.
    has_letter, is_stated
        As in `degrees.Angle`.
    is_sure
        Whether the row was read and nothing in it is in doubt; where not, the other columns mean nothing.
    """

    degrees: Floats
    axis: NDArray[np.int64]
    form: NDArray[np.str_]
    has_letter: Flags
    is_stated: Flags
    is_sure: Flags


def read_plain_decimals(words: pa.Array, limit_degrees: float) -> Floats:
    """Return the plain signed decimals within the limit, NaN for every other row."""
    import pyarrow as pa
    import pyarrow.compute as pc

    is_plain = pc.match_substring_regex(words, _PLAIN)
    numbers = pc.cast(pc.if_else(is_plain, words, pa.scalar(None, pa.string())), pa.float64())
    values = np.array(numbers.to_numpy(zero_copy_only=False), np.float64)
    return np.where(np.abs(values) <= limit_degrees, values, np.nan)


def read_angles(words: pa.Array, axis: Axis | None = None) -> BulkAngles:
    """Return the angles of a column; `axis` is what they all must be, if given."""
    import pyarrow.compute as pc

    found = _nothing(len(words))
    pending = np.arange(len(words))
    for style in _order_styles(words):
        groups = pc.extract_regex(words.take(pending), pattern_of(style))
        is_match = _to_numpy(groups.is_valid())
        if not is_match.any():
            continue
        rows, part = pending[is_match], _evaluate(style, groups.drop_null(), axis)
        for whole, values in zip(found, part, strict=True):
            whole[rows[part.is_sure]] = values[part.is_sure]
        pending = np.setdiff1d(pending, rows[part.is_sure], assume_unique=True)
    return found


def _nothing(count: int) -> BulkAngles:
    flags = [np.zeros(count, np.bool_) for _ in range(3)]
    return BulkAngles(np.full(count, np.nan), np.zeros(count, np.int64), np.full(count, "", "U3"), *flags)


def _order_styles(words: pa.Array) -> list[str]:
    """Return the styles that occur in a sample of the rows, the most frequent first."""
    import pyarrow.compute as pc

    sample = words.take(np.arange(0, len(words), max(len(words) // _SAMPLE_ROWS, 1)))
    counts = {style: pc.sum(pc.match_substring_regex(sample, pattern_of(style))).as_py() or 0 for style in STYLES}
    return sorted((style for style, count in counts.items() if count), key=lambda style: -counts[style])


def _evaluate(style: str, groups: pa.Array, axis: Axis | None) -> BulkAngles:
    """Return what the matches of one style say, as `degrees.parse_angle` would."""
    import pyarrow.compute as pc

    names = {field.name for field in groups.type}
    numbers = [_to_floats(groups.field(name)) for name in ("degrees", "minutes", "seconds") if name in names]
    letter = _code_of(pc.utf8_upper(_join(groups.field("before"), groups.field("after"))), _LETTERS)
    sign = _code_of(groups.field("sign"), _SIGNS)
    found_axis, is_agreed = _find_axis(letter, _code_of(pc.utf8_lower(groups.field("label")), _LABELS), axis)
    is_south_or_west = (letter == _SOUTH) | (letter == _WEST)
    is_sure = is_agreed & (letter >= 0) & ((sign == 0) | (letter == 0) | ((sign == _MINUS) == is_south_or_west))
    for number in numbers[1:]:
        is_sure &= number < 60.0
    magnitude = np.asarray(add_up(*numbers), np.float64)  # type: ignore[arg-type]  # columns, not numbers
    is_sure &= magnitude <= np.where(found_axis == _LATITUDE, LIMIT_DEGREES["latitude"], LIMIT_DEGREES["longitude"])
    if style.endswith("without marks"):
        is_sure &= found_axis == (_LATITUDE if style.startswith("latitude") else _LONGITUDE)
    if style.endswith("dashes"):
        is_sure &= letter > 0
    form = STYLES[style]
    return BulkAngles(
        degrees=np.where(is_south_or_west | (sign == _MINUS), -magnitude, magnitude),
        axis=found_axis,
        form=np.full(len(groups), form, "U3"),
        has_letter=letter > 0,
        is_stated=(letter > 0) | (sign > 0) | (form == "DD"),
        is_sure=is_sure,
    )


def _find_axis(letter: Integers, label: Integers, axis: Axis | None) -> tuple[Integers, Flags]:
    """Return the axis of each row, and whether letter, label and the column's own axis agree on it."""
    by_letter = np.where(letter <= 0, 0, np.where(letter <= _SOUTH, _LATITUDE, _LONGITUDE))
    required = {None: 0, "latitude": _LATITUDE, "longitude": _LONGITUDE}[axis]
    found = np.maximum(np.maximum(by_letter, label), required)
    is_agreed = np.ones(len(found), np.bool_)
    for stated in (by_letter, label, np.full(len(found), required)):
        is_agreed &= (stated == 0) | (stated == found)
    return found, is_agreed


def _code_of(column: pa.Array, codes: dict[str, int]) -> Integers:
    """Return the code of each word, -1 for a word that has none."""
    import pyarrow as pa
    import pyarrow.compute as pc

    place = _to_numpy(pc.fill_null(pc.index_in(column, pa.array(list(codes))), len(codes)))
    return np.asarray(np.array([*codes.values(), -1])[place.astype(np.int64)], np.int64)


def _join(before: pa.Array, after: pa.Array) -> pa.Array:
    import pyarrow.compute as pc

    return pc.binary_join_element_wise(before, after, "")


def _to_floats(column: pa.Array) -> Floats:
    import pyarrow as pa
    import pyarrow.compute as pc

    points = pc.replace_substring(column, ",", ".")
    return np.asarray(pc.cast(points, pa.float64()).to_numpy(zero_copy_only=False), np.float64)


def _to_numpy(column: Any) -> NDArray[Any]:
    return np.asarray(column.to_numpy(zero_copy_only=False))
