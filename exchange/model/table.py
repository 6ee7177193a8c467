"""The columnar base of everything in the model that has rows."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, fields
from dataclasses import replace as replace_fields
from typing import Any, ClassVar, Self

import numpy as np
from numpy.typing import NDArray

from exchange.errors import ModelError
from exchange.model import columns
from exchange.model.columns import Coercion, ForeignColumn
from exchange.model.row import Row
from exchange.model.source import Sources


def _column(coercion: Coercion) -> Any:
    return field(default=None, metadata={"coercion": coercion})


def text() -> Any:
    """Declare a column of text; missing is the empty text."""
    return _column(columns.to_text_column)


def number() -> Any:
    """Declare a column of float64; missing is NaN."""
    return _column(columns.to_number_column)


def instant() -> Any:
    """Declare a column of UTC instants, datetime64[ms]; missing is NaT."""
    return _column(columns.to_time_column)


def whole() -> Any:
    """Declare a column of int64; not given is 0."""
    return _column(columns.to_whole_column)


@dataclass(frozen=True, eq=False, repr=False, kw_only=True)
class Table:
    """Hold rows as columns: the declared ones, foreign ones in ``extra``, and each row's ``source``.

    Every column may be given as an array, a list or one value for all rows; what is not given is missing.
    Arrays become read-only. A foreign column without a single value is not kept.

    Raises
    ------
    ModelError
        When columns differ in length or hold the wrong kind of value.
    """

    row_type: ClassVar[type[Row]] = Row

    extra: Mapping[str, ForeignColumn] = field(default_factory=dict)
    source: Sources = field(default=None)  # type: ignore[assignment]  # filled in __post_init__

    def __post_init__(self) -> None:
        """Bring every column to its kind and check that they fit together."""
        length = self._find_length()
        for name, coercion in self.column_kinds().items():
            self._set(name, self._fit(name, coercion(getattr(self, name), length), length))
        extra = {name: columns.to_foreign_column(values) for name, values in self.extra.items()}
        fitted = {name: self._fit(name, values, length) for name, values in extra.items()}
        self._set("extra", {name: values for name, values in fitted.items() if columns.has_any_value(values)})
        source = Sources.unknown(length) if self.source is None else self.source
        if len(source) != length:
            raise ModelError(f"source has {len(source)} rows where the table has {length}")
        self._set("source", source)

    @classmethod
    def column_kinds(cls) -> dict[str, Coercion]:
        """Return the declared columns by name, in order, each with the function that brings values to its kind."""
        return {f.name: f.metadata["coercion"] for f in fields(cls) if "coercion" in f.metadata}

    @classmethod
    def column_names(cls) -> tuple[str, ...]:
        """Return the names of the declared columns, in order."""
        return tuple(cls.column_kinds())

    @classmethod
    def join(cls, parts: Sequence[Self]) -> Self:
        """Return the rows of several tables end to end; what is no column is taken from the first part."""
        if len(parts) == 1:
            return parts[0]
        if not parts:
            return cls()
        joined = {name: columns.join_columns([getattr(p, name) for p in parts]) for name in cls.column_names()}
        names = dict.fromkeys(name for part in parts for name in part.extra)
        extra = {n: columns.join_foreign_columns([(p.extra.get(n), len(p)) for p in parts]) for n in names}
        return replace_fields(parts[0], **joined, extra=extra, source=Sources.join([p.source for p in parts]))

    def __len__(self) -> int:
        """Return the number of rows."""
        return len(self.source)

    def __iter__(self) -> Iterator[Row]:
        """Go through the rows one by one; for reading and tests, not for work on many rows."""
        return (self.row(index) for index in range(len(self)))

    def row(self, index: int) -> Row:
        """Return a readable view of one row.

        Raises
        ------
        IndexError
            When the table has no such row.
        """
        if not -len(self) <= index < len(self):
            raise IndexError(f"row {index} of a table with {len(self)} rows")
        return self.row_type(self, index % len(self))

    def take(self, rows: slice | NDArray[Any] | Sequence[int]) -> Self:
        """Return the chosen rows, given as a slice, indices or a mask, in that order."""
        chosen = rows if isinstance(rows, slice) else np.asarray(rows)
        if not isinstance(chosen, slice) and not chosen.size:
            chosen = chosen.astype(np.int64)
        picked = {name: columns.take_rows(getattr(self, name), chosen) for name in self.column_names()}
        extra = {name: columns.take_rows(values, chosen) for name, values in self.extra.items()}
        return replace_fields(self, **picked, extra=extra, source=self.source.take(chosen))

    def replace(self, **changes: Any) -> Self:
        """Return a copy with some columns or fields replaced."""
        return replace_fields(self, **changes)

    def with_source_columns(self) -> Self:
        """Return a copy whose foreign columns name each row's ``source_file``, ``source_layer``, ``source_record``."""
        origin = {
            "source_file": self.source.file,
            "source_layer": self.source.layer,
            "source_record": self.source.record,
        }
        return self.replace(extra={**self.extra, **origin})

    def differences(self, other: Table) -> list[str]:
        """Tell in words where two tables differ; ``source`` does not count, missing equals missing."""
        if type(self) is not type(other):
            return [f"{type(self).__name__} is not {type(other).__name__}"]
        if len(self) != len(other):
            return [f"{len(self)} rows are not {len(other)} rows"]
        found = (
            []
            if (mine := set(self.extra)) == (theirs := set(other.extra))
            else [f"extra: {sorted(mine - theirs)} only in the first, {sorted(theirs - mine)} only in the second"]
        )
        for name in self.column_names():
            found += _describe_difference(name, getattr(self, name), getattr(other, name))
        for name in sorted(mine & theirs):
            found += _describe_difference(f"extra {name!r}", self.extra[name], other.extra[name])
        return found

    def __eq__(self, other: object) -> bool:
        """Compare column by column; ``source`` does not count, missing equals missing."""
        if not isinstance(other, Table):
            return NotImplemented
        return not self.differences(other)

    __hash__ = None  # type: ignore[assignment]  # columns are compared by value

    def __repr__(self) -> str:
        """Return the class, the number of rows and the columns that hold values."""
        held = [n for n in self.column_names() if columns.has_any_value(getattr(self, n))]
        return f"{type(self).__name__}({len(self)} rows; {', '.join([*held, *map(repr, self.extra)])})"

    def _find_length(self) -> int:
        given = [getattr(self, name) for name in self.column_names()]
        given += list(self.extra.values()) + ([] if self.source is None else [self.source])
        sized = (len(values) for values in given if values is not None and _has_length(values))
        return next(sized, 1 if any(values is not None for values in given) else 0)

    def _fit(self, name: str, values: NDArray[Any], length: int) -> NDArray[Any]:
        if values.shape != (length,):
            raise ModelError(f"column has shape {values.shape} where the table has {length} rows", field=name)
        return columns.freeze(values)

    def _set(self, name: str, value: Any) -> None:
        object.__setattr__(self, name, value)


def _has_length(values: Any) -> bool:
    return hasattr(values, "__len__") and not isinstance(values, str) and getattr(values, "ndim", 1) > 0


def _describe_difference(name: str, first: ForeignColumn, second: ForeignColumn) -> list[str]:
    equal = columns.columns_equal(first, second)
    if equal.all():
        return []
    row = int(np.argmin(equal))
    return [f"{name}: {int((~equal).sum())} rows differ, first row {row}: {first[row]!r} is not {second[row]!r}"]
