"""Columns of coordinate text: the spellings that fill files in bulk at once, all others one by one.

`parse_angle` and `parse_position` are the definition. Each bulk reader takes only rows in which nothing is in
doubt, and leaves every other row to them; so a column gives what its rows would give.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any, Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from exchange.errors import AmbiguityError, CoordinateError, OptionError
from exchange.geo.coordinates.bulk_angles import BulkAngles, read_angles, read_plain_decimals
from exchange.geo.coordinates.bulk_grids import read_grids, read_utm
from exchange.geo.coordinates.degrees import AXIS_BY_LETTER, LIMIT_DEGREES, Axis, parse_angle
from exchange.geo.coordinates.position import Form, Order, Position, parse_position, require_position_options
from exchange.geo.coordinates.utm import ZoneLetter

if TYPE_CHECKING:
    import pyarrow as pa

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]
Texts = Sequence[str | None] | NDArray[Any]

# Where two angles part, for the bulk reader: one separator, a letter before each, a letter after each, one gap.
_OTHER: Final = "[^NSEWnsew,;|\t/]"
_PAIR_PATTERNS: Final = (
    "^(?P<first>[^;|\t/,]+)[;|\t/,](?P<second>[^;|\t/,]+)$",
    f"^(?P<first>[ ]*[NSEWnsew]{_OTHER}+)(?P<second>[NSEWnsew]{_OTHER}+)$",
    f"^(?P<first>{_OTHER}+[NSEWnsew])(?P<second>{_OTHER}+[NSEWnsew][ ]*)$",
    "^(?P<first>[^ ,;|\t/]+)[ ]+(?P<second>[^ ,;|\t/]+)$",
)
_SAMPLE_ROWS: Final = 500


class AngleColumn(NamedTuple):
    """Hold a parsed column of angles.

    Parameters
    ----------
    degrees
        One value a row, NaN where the row is blank or refused.
    refused
        Indices of the rows that hold no such angle, ascending.
    reasons
        Why, one for each of `refused`.
    """

    degrees: Floats
    refused: Integers
    reasons: tuple[str, ...]


class PositionColumn(NamedTuple):
    """Hold a parsed column of positions; NaN where a row is blank or refused, `refused` and `reasons` as above."""

    longitude: Floats
    latitude: Floats
    refused: Integers
    reasons: tuple[str, ...]


def parse_angle_column(
    texts: Texts | pa.Array | pa.ChunkedArray, *, axis: Axis, hemisphere: str | None = None
) -> AngleColumn:
    """Read a column of longitudes or of latitudes.

    Parameters
    ----------
    texts
        Strings; ``None`` and blank rows are missing, not refused.
    axis
        ``'longitude'`` or ``'latitude'``.
    hemisphere
        ``'N'``, ``'S'``, ``'E'`` or ``'W'`` for degrees and minutes that carry neither letter nor sign; without it
        those rows are refused. Decimal degrees are signed numbers and need none.

    Raises
    ------
    OptionError
        If `axis` is none of the two, or `hemisphere` does not belong to it.

    Examples
    --------
    >>> column = parse_angle_column(["-120.75", "120°45.0'W", "", "200"], axis="longitude")
    >>> column.degrees
    array([-120.75, -120.75,     nan,     nan])
    >>> column.refused
    array([3])
    """
    _require_axis(axis, hemisphere)
    words = _to_arrow(texts)
    degrees = read_plain_decimals(words, LIMIT_DEGREES[axis])
    pending = _pending(words, np.isnan(degrees))
    if len(pending):
        bulk = read_angles(_take(words, pending), axis)
        is_sure = bulk.is_sure & (bulk.is_stated if hemisphere is None else True)
        is_turned = ~bulk.is_stated & (hemisphere in ("S", "W"))
        degrees[pending[is_sure]] = np.where(is_turned, -bulk.degrees, bulk.degrees)[is_sure]
        pending = pending[~is_sure]
    refused = _read_singly(words, pending, lambda text: _parse_one_angle(text, axis, hemisphere), degrees)
    return AngleColumn(degrees, *refused)


def parse_position_column(
    texts: Texts | pa.Array | pa.ChunkedArray,
    *,
    form: Form | None = None,
    order: Order | None = None,
    hemispheres: str | None = None,
    zone_letter: ZoneLetter | None = None,
) -> PositionColumn:
    """Read a column of whole positions: pairs of angles, UTM, USNG or MGRS, ISO 6709, WKT points.

    Parameters
    ----------
    texts
        Strings; ``None`` and blank rows are missing, not refused.
    form, order, hemispheres, zone_letter
        As for `parse_position`.

    Raises
    ------
    OptionError
        If an option is none of those that `parse_position` takes.
    """
    require_position_options(form, order, hemispheres, zone_letter)
    words = _to_arrow(texts)
    longitude, latitude = np.full(len(words), np.nan), np.full(len(words), np.nan)
    pending = _pending(words, np.ones(len(words), np.bool_))
    for reader in _choose_readers(form, order, hemispheres, zone_letter):
        if len(pending) and _is_worthwhile(reader, _take(words, pending)):
            found_longitude, found_latitude = reader(_take(words, pending))
            is_sure = np.isfinite(found_latitude)
            longitude[pending[is_sure]] = found_longitude[is_sure]
            latitude[pending[is_sure]] = found_latitude[is_sure]
            pending = pending[~is_sure]

    def parse(text: str) -> Position:
        return parse_position(text, form=form, order=order, hemispheres=hemispheres, zone_letter=zone_letter)

    refused = _read_singly(words, pending, lambda text: parse(text)[:2], longitude, latitude)
    return PositionColumn(longitude, latitude, *refused)


Reader = Callable[["pa.Array"], tuple[Floats, Floats]]


def _choose_readers(
    form: Form | None, order: Order | None, hemispheres: str | None, zone_letter: ZoneLetter | None
) -> list[Reader]:
    by_form: dict[tuple[str, ...], Reader] = {
        ("DD", "DDM", "DMS"): lambda words: _read_pairs(words, form, order, hemispheres),
        ("USNG", "MGRS"): lambda words: read_grids(words, most_size_m=10_000.0 if form == "USNG" else 100_000.0),
        ("UTM",): lambda words: read_utm(words, zone_letter),
    }
    return [reader for forms, reader in by_form.items() if form is None or form in forms]


def _is_worthwhile(reader: Reader, words: pa.Array) -> bool:
    """Tell whether any of a sample of the rows is for this reader: a pass over all of them costs time."""
    step = max(len(words) // _SAMPLE_ROWS, 1)
    sample = _take(words, np.arange(0, len(words), step))
    return bool(np.isfinite(reader(sample)[1]).any())


def _read_pairs(
    words: pa.Array, form: Form | None, order: Order | None, hemispheres: str | None
) -> tuple[Floats, Floats]:
    """Return longitudes and latitudes of the pairs in which nothing is in doubt, NaN for all other rows."""
    import pyarrow.compute as pc

    longitude, latitude = np.full(len(words), np.nan), np.full(len(words), np.nan)
    pending = np.arange(len(words))
    for pattern in _PAIR_PATTERNS:
        halves = pc.extract_regex(_take(words, pending), pattern)
        is_split = _to_numpy(halves.is_valid())
        if not is_split.any():
            continue
        rows, split = pending[is_split], halves.drop_null()
        found = _combine(
            read_angles(split.field("first")), read_angles(split.field("second")), form, order, hemispheres
        )
        longitude[rows], latitude[rows] = found
        pending = pending[~is_split]
    return longitude, latitude


def _combine(
    first: BulkAngles, second: BulkAngles, form: Form | None, order: Order | None, hemispheres: str | None
) -> tuple[Floats, Floats]:
    is_sure = first.is_sure & second.is_sure & (first.form == second.form) & (first.has_letter == second.has_letter)
    is_sure &= (first.axis == 0) | (first.axis != second.axis)
    if form is not None:
        is_sure &= first.form == form
    first_is_latitude = (first.axis == 1) | (second.axis == 2)
    is_open = (first.axis == 0) & (second.axis == 0)
    by_range = np.abs(second.degrees) > 90.0
    is_sure &= ~is_open | (order is not None) | by_range | (np.abs(first.degrees) > 90.0)
    first_is_latitude |= is_open & ((order == "lat-lon") if order else by_range)
    is_stated = first.is_stated | second.is_stated
    is_sure &= is_stated | (hemispheres is not None)
    latitude = np.where(first_is_latitude, first.degrees, second.degrees)
    longitude = np.where(first_is_latitude, second.degrees, first.degrees)
    if hemispheres is not None:
        latitude = np.where(~is_stated & (hemispheres[0] == "S"), -latitude, latitude)
        longitude = np.where(~is_stated & (hemispheres[1] == "W"), -longitude, longitude)
    is_sure &= np.abs(latitude) <= 90.0
    return np.where(is_sure, longitude, np.nan), np.where(is_sure, latitude, np.nan)


def _require_axis(axis: str, hemisphere: str | None) -> None:
    if axis not in ("longitude", "latitude"):
        raise OptionError(f"{axis!r} is no axis", remedy="Use 'longitude' or 'latitude'.")
    if hemisphere is not None and AXIS_BY_LETTER.get(hemisphere) != axis:
        allowed = " or ".join(letter for letter, its_axis in AXIS_BY_LETTER.items() if its_axis == axis)
        raise OptionError(f"{hemisphere!r} is no hemisphere of a {axis}", remedy=f"Use {allowed}.")


def _parse_one_angle(text: str, axis: Axis, hemisphere: str | None) -> tuple[float]:
    angle = parse_angle(text, axis=axis)
    if angle.is_stated:
        return (angle.degrees,)
    if hemisphere is None:
        raise AmbiguityError(
            f"{text!r} does not say which hemisphere",
            remedy="Write N, S, E or W with it, or name the hemisphere of the column.",
        )
    return (-angle.degrees if hemisphere in "SW" else angle.degrees,)


def _read_singly(
    words: pa.Array, rows: Integers, parse: Callable[[str], tuple[float, ...]], *columns: Floats
) -> tuple[Integers, tuple[str, ...]]:
    """Fill the rows of the columns one by one; return those that were refused, and why. Equal texts are read once."""
    known: dict[str, tuple[float, ...] | str] = {}
    refused, reasons = [], []
    for row, text in zip(rows.tolist(), _take(words, rows).to_pylist(), strict=True):
        if text not in known:
            try:
                known[text] = parse(text)
            except (CoordinateError, AmbiguityError) as refusal:
                known[text] = str(refusal)
        answer = known[text]
        if isinstance(answer, str):
            refused.append(row)
            reasons.append(answer)
            continue
        for column, value in zip(columns, answer, strict=True):
            column[row] = value
    return np.array(refused, np.int64), tuple(reasons)


def _to_arrow(texts: Any) -> pa.Array:
    import pyarrow as pa

    if isinstance(texts, pa.ChunkedArray):
        texts = texts.combine_chunks()
    if isinstance(texts, pa.Array):
        return texts if texts.type == pa.string() else texts.cast(pa.string())
    if isinstance(texts, np.ndarray) and texts.dtype.kind == "T":
        texts = texts.astype(object)
    return pa.array(texts, type=pa.string(), from_pandas=True)


def _pending(words: pa.Array, is_open: NDArray[np.bool_]) -> Integers:
    """Return the open rows that hold any text at all."""
    import pyarrow.compute as pc

    is_blank = _to_numpy(pc.fill_null(pc.equal(pc.utf8_trim_whitespace(words), ""), True))
    return np.flatnonzero(is_open & ~is_blank)


def _take(words: pa.Array, rows: Integers) -> pa.Array:
    return words if len(rows) == len(words) else words.take(rows)


def _to_numpy(column: Any) -> NDArray[Any]:
    return np.asarray(column.to_numpy(zero_copy_only=False))
