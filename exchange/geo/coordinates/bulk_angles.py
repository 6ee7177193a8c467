"""Angles over whole columns of text: the patterns of `degrees`, run by RE2, and the arithmetic by numpy."""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING, Any, Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from exchange.geo.coordinates.degrees import LIMIT_DEGREES, STYLES, Axis, add_up, pattern_of

if TYPE_CHECKING:
    import pyarrow as pa

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

_PLAIN: Final = "^[+-]?(?:[0-9]{1,3}(?:[.][0-9]{1,20})?|[.][0-9]{1,20})$"
_LATITUDE: Final = 1
_LONGITUDE: Final = 2
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
    found = _nothing(len(words))
    pending = np.arange(len(words))
    for style in _order_styles(words):
        if not len(pending):
            break
        part = _read_style(style, words.take(pending), axis)
        for whole, values in zip(found, part, strict=True):
            whole[pending[part.is_sure]] = values[part.is_sure]
        pending = pending[~part.is_sure]
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


def _read_style(style: str, words: pa.Array, axis: Axis | None) -> BulkAngles:
    import pyarrow.compute as pc

    groups = pc.extract_regex(words, pattern_of(style))
    is_match = _to_numpy(groups.is_valid())
    if not is_match.any():
        return _nothing(len(words))
    names = {field.name for field in groups.type}
    numbers = [_to_floats(groups.field(name)) for name in ("degrees", "minutes", "seconds") if name in names]
    letter = _code_of(pc.utf8_upper(_join(groups.field("before"), groups.field("after"))), _letters())
    sign = _code_of(groups.field("sign"), _signs())
    by_letter = np.choose(np.clip(letter, 0, 4), [0, _LATITUDE, _LATITUDE, _LONGITUDE, _LONGITUDE])
    by_label = np.clip(_code_of(pc.utf8_lower(groups.field("label")), _labels()), 0, 2)
    required = {None: 0, "latitude": _LATITUDE, "longitude": _LONGITUDE}[axis]
    found_axis = np.maximum(np.maximum(by_letter, by_label), required)
    is_south_or_west = (letter == 2) | (letter == 4)
    is_sure = is_match & (letter >= 0)
    for stated in (by_letter, by_label):
        is_sure &= (stated == 0) | (stated == found_axis)
    is_sure &= (required == 0) | (found_axis == required)
    is_sure &= (sign == 0) | (letter == 0) | ((sign == 2) == is_south_or_west)
    for number in numbers[1:]:
        is_sure &= number < 60.0
    magnitude = np.asarray(add_up(*numbers), np.float64)  # type: ignore[arg-type]  # columns, not numbers
    is_sure &= magnitude <= np.where(found_axis == _LATITUDE, LIMIT_DEGREES["latitude"], LIMIT_DEGREES["longitude"])
    if style.endswith("without marks"):
        is_sure &= found_axis == (_LATITUDE if style.startswith("latitude") else _LONGITUDE)
    if style.endswith("dashes"):
        is_sure &= letter > 0
    form = STYLES[style]
    degrees = np.where(is_south_or_west | (sign == 2), -magnitude, magnitude)
    is_stated = (letter > 0) | (sign > 0) | (form == "DD")
    return BulkAngles(degrees, found_axis, np.full(len(words), form, "U3"), letter > 0, is_stated, is_sure)


@cache
def _letters() -> dict[str, int]:
    # 1 north, 2 south, 3 east, 4 west.
    return {"": 0, "N": 1, "S": 2, "E": 3, "W": 4, "NORTH": 1, "SOUTH": 2, "EAST": 3, "WEST": 4}


@cache
def _signs() -> dict[str, int]:
    return {"": 0, "+": 1, "-": 2, "\u2212": 2, "\u2013": 2}


@cache
def _labels() -> dict[str, int]:
    latitudes, longitudes = ("lat", "latitude"), ("lon", "long", "lng", "longitude")
    return {"": 0} | dict.fromkeys(latitudes, _LATITUDE) | dict.fromkeys(longitudes, _LONGITUDE)


def _code_of(column: pa.Array, codes: dict[str, int]) -> NDArray[np.int64]:
    """Return the code of each word; 0 where the row did not match, -1 for a word that has none."""
    import pyarrow as pa
    import pyarrow.compute as pc

    place = _to_numpy(pc.fill_null(pc.index_in(column, pa.array(list(codes))), len(codes)))
    is_null = _to_numpy(column.is_null())
    table = np.array([*codes.values(), -1])
    return np.where(is_null, 0, table[place.astype(np.int64)])


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
