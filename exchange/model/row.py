"""The readable view of one row of a table."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from exchange.model.columns import to_scalar
from exchange.model.source import Source

if TYPE_CHECKING:
    from exchange.model.table import Table


class Row:
    """Read one row: each column is an attribute, a missing number or time is ``None``.

    A view costs a Python object per row, so it is for reading single records and for tests.
    """

    __slots__ = ("_index", "_table")

    def __init__(self, table: Table, index: int) -> None:
        self._table = table
        self._index = index

    def __getattr__(self, name: str) -> Any:
        """Return the value of a column."""
        if name.startswith("_") or name not in self._table.column_names():
            raise AttributeError(f"{type(self).__name__} has no column {name!r}")
        return to_scalar(getattr(self._table, name)[self._index])

    @property
    def extra(self) -> dict[str, Any]:
        """The foreign fields of this row that hold a value."""
        values = {name: to_scalar(column[self._index]) for name, column in self._table.extra.items()}
        return {name: value for name, value in values.items() if value is not None and value != ""}

    @property
    def source(self) -> Source:
        """The file, layer and record that this row came from."""
        return self._table.source[self._index]

    def as_dict(self) -> dict[str, Any]:
        """Return the columns that hold a value, by name."""
        values = {name: getattr(self, name) for name in self._table.column_names()}
        return {name: value for name, value in values.items() if value is not None and value != ""}

    @property
    def __geo_interface__(self) -> dict[str, Any]:
        """The row as a GeoJSON-like feature; geometry is ``None`` where there is no position."""
        values = self.as_dict()
        position = [values.pop(name, None) for name in ("longitude", "latitude", "altitude")]
        geometry = None
        if position[0] is not None and position[1] is not None:
            geometry = {"type": "Point", "coordinates": tuple(v for v in position if v is not None)}
        return {"type": "Feature", "geometry": geometry, "properties": {**self.extra, **values}}

    def __eq__(self, other: object) -> bool:
        """Compare by the values held, extra included; the source does not count."""
        if not isinstance(other, Row):
            return NotImplemented
        return type(self) is type(other) and (self.as_dict(), self.extra) == (other.as_dict(), other.extra)

    __hash__ = None  # type: ignore[assignment]  # rows are compared by value

    def __repr__(self) -> str:
        """Return the class and the values held."""
        held = ", ".join(f"{name}={value!r}" for name, value in self.as_dict().items())
        extra = f", extra={self.extra!r}" if self.extra else ""
        return f"{type(self).__name__}({held}{extra})"
