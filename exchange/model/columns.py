"""What a column may hold: text, numbers, times, whole numbers, and foreign values typed as they came.

A column is one read-only numpy array. Missing is the empty text, NaN or NaT; in a foreign column of mixed
kinds (or of whole numbers with gaps) it is ``None``.

That every object of a column of text is a ``str`` is found out once, when the column is made. The array is then
remembered as long as it lives, so that no table, slice or join made of it looks at each row again.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from datetime import UTC, date, datetime
from typing import Any, TypeGuard
from weakref import WeakValueDictionary

import numpy as np
from numpy.typing import NDArray

from exchange.errors import ModelError

TextColumn = NDArray[np.object_]
NumberColumn = NDArray[np.float64]
TimeColumn = NDArray[np.datetime64]
WholeColumn = NDArray[np.int64]
ForeignColumn = NDArray[Any]

TIME_TYPE = np.dtype("datetime64[ms]")
# The columns known to hold text only, by identity: numpy has no mark of its own that a changed copy would lose.
_TEXTS: WeakValueDictionary[int, NDArray[Any]] = WeakValueDictionary()
_PLAIN_KINDS = frozenset((str, int, float, bool, type(None), list, dict))


def to_text_column(values: Any, length: int) -> TextColumn:
    """Return ``values`` as an object array of ``str``; ``None`` becomes the empty text.

    Raises
    ------
    ModelError
        When a value is neither text nor missing: numbers are never turned into text here.
    """
    if is_text(values):
        return values
    if values is None or type(values) is str:
        return mark_text(np.full(length, values or "", dtype=object))
    array = np.asarray(values, dtype=object)
    kinds = set(map(type, array.tolist()))
    if kinds <= {str}:
        return mark_text(array)
    if kinds <= {str, type(None), np.str_}:
        return mark_text(_object_array(["" if value is None else str(value) for value in array.tolist()]))
    wrong = next(value for value in array.tolist() if not isinstance(value, (str, type(None))))
    raise ModelError(f"{wrong!r} is no text", remedy="Turn it into text first, or keep it in extra.")


def is_text(values: Any) -> TypeGuard[TextColumn]:
    """Tell whether an array is known to be a column of text, read-only and of ``str`` objects only."""
    known = _TEXTS.get(id(values))
    return known is not None and known is values and not known.flags.writeable


def mark_text(array: NDArray[Any]) -> TextColumn:
    """Return a read-only column of text that is not looked at again.

    Parameters
    ----------
    array
        Objects that are ``str`` by the way they were made, each of them; whoever marks it vouches for that.
    """
    column = freeze(array)
    _TEXTS[id(column)] = column
    return column


def to_number_column(values: Any, length: int) -> NumberColumn:
    """Return ``values`` as float64; missing is NaN.

    Raises
    ------
    ModelError
        When a value is no number.
    """
    if values is None:
        return np.full(length, np.nan)
    if isinstance(values, (int, float)):
        return np.full(length, float(values))
    try:
        return np.asarray(values, dtype=np.float64)
    except (TypeError, ValueError) as error:
        raise ModelError(f"a column of numbers holds something else ({error})") from error


def to_time_column(values: Any, length: int) -> TimeColumn:
    """Return ``values`` as datetime64[ms] in UTC; missing is NaT.

    Raises
    ------
    ModelError
        When a value is no instant, or a ``datetime`` without a zone.
    """
    if values is None:
        return np.full(length, np.datetime64("NaT", "ms"))
    if isinstance(values, (np.datetime64, datetime)):
        return np.full(length, _to_instant(values))
    array = np.asarray(values)
    if array.dtype.kind == "M":
        return array.astype(TIME_TYPE, copy=False)
    return np.array([_to_instant(value) for value in array.tolist()], dtype=TIME_TYPE)


def to_whole_column(values: Any, length: int) -> WholeColumn:
    """Return ``values`` as int64; not given is zero.

    Raises
    ------
    ModelError
        When a value is no whole number.
    """
    if values is None:
        return np.zeros(length, dtype=np.int64)
    array = np.asarray(values)
    if array.dtype.kind not in "iub" and array.size:
        raise ModelError(f"a column of whole numbers holds {array.dtype} values")
    return array.astype(np.int64, copy=False)


def _to_instant(value: Any) -> np.datetime64:
    if value is None:
        return np.datetime64("NaT", "ms")
    if isinstance(value, np.datetime64):
        return value.astype(TIME_TYPE)
    if isinstance(value, datetime):
        if value.tzinfo is None:
            raise ModelError(f"{value!r} has no time zone", remedy="Give it one before it enters the model.")
        return np.datetime64(round(value.timestamp() * 1000), "ms")
    raise ModelError(f"{value!r} is no instant")


def to_foreign_column(values: Iterable[Any]) -> ForeignColumn:
    """Return foreign values as one array of the narrowest kind that keeps each value's own type.

    Whole numbers become int64, other numbers float64, truth values bool, instants datetime64[ms], text
    ``str`` objects. What mixes kinds, or has gaps where the kind knows no missing, becomes an object array
    with ``None`` for missing. ``007`` as text stays text.
    """
    if is_text(values):
        return values
    if isinstance(values, np.ndarray) and values.dtype.kind in "iufbM":
        return _to_plain_kind(values)
    items = values.tolist() if isinstance(values, np.ndarray) else list(values)
    kinds = set(map(type, items))
    if kinds == {str}:
        is_array = isinstance(values, np.ndarray) and values.dtype.kind == "O"
        return mark_text(np.asarray(values) if is_array else _object_array(items))
    if kinds in ({float}, {bool}):
        return np.array(items)
    if kinds == {int} and all(-(2**63) <= item < 2**63 for item in (min(items), max(items))):
        return np.array(items, dtype=np.int64)
    return _narrow(items if kinds <= _PLAIN_KINDS else [_to_python(item) for item in items])


def _to_plain_kind(values: NDArray[Any]) -> ForeignColumn:
    if values.dtype.kind == "u" and values.size and values.max() > np.iinfo(np.int64).max:
        return _object_array(values.tolist())
    plain = {"i": np.dtype(np.int64), "u": np.dtype(np.int64), "f": np.dtype(np.float64), "M": TIME_TYPE}
    return values.astype(plain.get(values.dtype.kind, values.dtype), copy=False)


def _narrow(items: list[Any]) -> ForeignColumn:
    missing = [_is_missing(item) for item in items]
    kinds = {type(item) for item, is_missing in zip(items, missing, strict=True) if not is_missing}
    if kinds == {str}:
        return mark_text(_object_array(["" if item is None or item != item else item for item in items]))
    if kinds == {float}:
        return np.array([np.nan if gone else item for item, gone in zip(items, missing, strict=True)], dtype=np.float64)
    cleared = [None if gone else item for item, gone in zip(items, missing, strict=True)] if any(missing) else items
    if kinds == {datetime}:
        return to_time_column(_object_array(cleared), len(items))
    if cleared is items:
        if kinds == {int} and all(-(2**63) <= item < 2**63 for item in items):
            return np.array(items, dtype=np.int64)
        if kinds == {bool}:
            return np.array(items, dtype=bool)
    return _object_array(cleared)


def _to_python(value: Any) -> Any:
    """Return one foreign value as a plain Python one; a date, or a time without a zone, stays ISO text."""
    if isinstance(value, np.datetime64):
        return to_scalar(value)
    if isinstance(value, np.generic):
        return value.item()
    if isinstance(value, datetime):
        return value if value.tzinfo else value.isoformat()
    return value.isoformat() if isinstance(value, date) else value


def _is_missing(value: Any) -> bool:
    return value is None or value == "" or (isinstance(value, float) and value != value)


def has_value(column: ForeignColumn) -> NDArray[np.bool_]:
    """Return which rows of a column hold a value."""
    if column.dtype.kind == "f":
        return np.asarray(~np.isnan(column))
    if column.dtype.kind == "M":
        return np.asarray(~np.isnat(column))
    if is_text(column):
        return np.fromiter(map(bool, column.tolist()), dtype=bool, count=len(column))
    if column.dtype.kind == "O":
        return np.fromiter((not _is_missing(v) for v in column.tolist()), dtype=bool, count=len(column))
    return np.full(len(column), True)


def has_any_value(column: ForeignColumn) -> bool:
    """Tell whether at least one row of a column holds a value."""
    if is_text(column):
        return any(column.tolist())
    if column.dtype.kind == "O":
        return any(not _is_missing(item) for item in column.tolist())
    return bool(has_value(column).any())


def take_rows(column: ForeignColumn, rows: Any) -> ForeignColumn:
    """Return the chosen rows of a column (indices, a slice or a mask)."""
    return mark_text(column[rows]) if is_text(column) else column[rows]


def join_columns(parts: Sequence[ForeignColumn]) -> ForeignColumn:
    """Join the pieces of one column of the model."""
    joined = np.concatenate(parts)
    return mark_text(joined) if all(map(is_text, parts)) else joined


def join_foreign_columns(parts: Sequence[tuple[ForeignColumn | None, int]]) -> ForeignColumn:
    """Join the pieces of one foreign column; a piece is (column or ``None`` where the batch lacks it, rows)."""
    given = [column for column, _ in parts if column is not None]
    filler = _find_filler(given, is_complete=len(given) == len(parts))
    if filler is not None:
        return join_columns([filler(rows) if column is None else column for column, rows in parts])
    items: list[Any] = []
    for column, rows in parts:
        items += [None] * rows if column is None else to_items(column)
    return to_foreign_column(items)


def _find_filler(given: Sequence[ForeignColumn], *, is_complete: bool) -> Callable[[int], ForeignColumn] | None:
    """Return what makes rows without a value where pieces of one kind can stay as they are, else ``None``."""
    types = {column.dtype for column in given}
    if given and all(map(is_text, given)):
        return lambda rows: to_text_column(None, rows)
    if len(types) != 1 or not (is_complete or next(iter(types)).kind in "fM") or next(iter(types)).kind == "O":
        return None
    dtype = next(iter(types))
    return lambda rows: np.full(rows, np.datetime64("NaT", "ms") if dtype.kind == "M" else np.nan, dtype)


def to_items(column: ForeignColumn) -> list[Any]:
    """Return a column as a list of plain Python values; instants as aware ``datetime``."""
    if column.dtype.kind == "M":
        return [to_scalar(value) for value in column]
    return list(column.tolist())


def columns_equal(first: ForeignColumn, second: ForeignColumn) -> NDArray[np.bool_]:
    """Return which rows of two columns of one length are the same; missing equals missing."""
    if first.dtype.kind in "fM" and first.dtype.kind == second.dtype.kind:
        return np.asarray((first == second) | (~has_value(first) & ~has_value(second)))
    if first.dtype.kind != "O" and second.dtype.kind != "O":
        same_kind = first.dtype.kind == second.dtype.kind
        return (first == second) if same_kind else np.zeros(len(first), dtype=bool)
    pairs = zip(first.tolist(), second.tolist(), strict=True)
    return np.fromiter((type(a) is type(b) and a == b for a, b in pairs), dtype=bool, count=len(first))


def freeze(array: NDArray[Any]) -> NDArray[Any]:
    """Return a read-only view of ``array``, or itself where it is one."""
    if not array.flags.writeable:
        return array
    view = array.view()
    view.flags.writeable = False
    return view


def to_scalar(value: Any) -> Any:
    """Return one cell as a plain Python value; a missing number or time becomes ``None``."""
    if isinstance(value, np.datetime64):
        return None if np.isnat(value) else value.astype("datetime64[ms]").item().replace(tzinfo=UTC)
    plain = value.item() if isinstance(value, np.generic) else value
    return None if isinstance(plain, float) and plain != plain else plain


def _object_array(items: Sequence[Any]) -> NDArray[np.object_]:
    return np.fromiter(items, dtype=object, count=len(items))


Coercion = Callable[[Any, int], NDArray[Any]]
