"""Columns as typed fields of a schema, and each row's values as the XML of its extended data."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from exchange.formats.properties import KIND
from exchange.formats.text_columns import TextCells, clean_cells, escape_xml, format_column, wrap_cells
from exchange.formats.values import to_text, value_type
from exchange.formats.xml.characters import clean_text
from exchange.model.columns import ForeignColumn, has_value, to_items
from exchange_kml.names import house_schema
from exchange_kml.serialise import escape_attribute

_KML_TYPES = frozenset(("string", "int", "double", "bool"))
"""Types that a schema of KML 2.2 knows; any other is a string whose schema's identifier names the type."""

_LARGEST_INT = 2**31 - 1


@dataclass(frozen=True)
class Field:
    """One column of values.

    Attributes
    ----------
    name
        Property name.
    type_name
        ``string``, ``int``, ``double``, ``bool``, or ``whole``, ``dateTime``, ``json``, ``mixed``, which KML lacks.
    column
        Shape (n,).
    """

    name: str
    type_name: str
    column: ForeignColumn

    @classmethod
    def of(cls, name: str, column: ForeignColumn, *, declared: bool = False) -> Field:
        """Return a column as a field; a declared column's kind is known to the reader, so its times are strings."""
        type_name = choose_type(column)
        return cls(name, "string" if declared and type_name == "dateTime" else type_name, column)

    @property
    def kml_type(self) -> str:
        """Its type in KML's words."""
        return self.type_name if self.type_name in _KML_TYPES else "string"

    def schema(self, kind: str) -> str:
        """Return the identifier of the schema that declares it."""
        return house_schema(kind, "" if self.type_name in _KML_TYPES else self.type_name)

    def cells(self, rows: slice | NDArray[Any]) -> TextCells:
        """Return some rows as text that XML can hold, marks not yet escaped, null where missing."""
        column = self.column[rows]
        if self.type_name == "mixed":
            items = [
                f"{value_type(item)}:{to_text(item)}" if keep else None
                for item, keep in zip(to_items(column), has_value(column).tolist(), strict=True)
            ]
            column = np.fromiter(items, dtype=object, count=len(items))
        return clean_cells(column) if column.dtype.kind == "O" else format_column(column)


def choose_type(column: ForeignColumn) -> str:
    """Return the narrowest type that keeps every value of a column.

    >>> choose_type(np.array([1, 2])), choose_type(np.array([1, "1"], dtype=object))
    ('int', 'mixed')
    """
    if column.dtype.kind in "iu":
        return _whole_type(column.tolist())
    if column.dtype.kind != "O":
        return {"f": "double", "b": "bool", "M": "dateTime"}[column.dtype.kind]
    kinds = set(map(type, column.tolist()))
    if kinds == {str}:
        return "string"
    values = [value for value, keep in zip(column.tolist(), has_value(column).tolist(), strict=True) if keep]
    names = {value_type(value) for value in values}
    if len(names) > 1:
        return "mixed"
    name = names.pop() if names else "string"
    return _whole_type(values) if name == "int" else name


def _whole_type(values: Iterable[int]) -> str:
    return "int" if all(-_LARGEST_INT <= value <= _LARGEST_INT for value in values) else "whole"


def write_name(name: str) -> str:
    """Return a field's name as it can stand in an attribute."""
    return escape_attribute(clean_text(name))


def write_extended_data(kind: str, fields: Sequence[Field], rows: slice | NDArray[Any]) -> list[TextCells | str]:
    """Return the parts of each row's extended data: the house's mark, then the fields by their schemas."""
    by_schema: dict[str, list[Field]] = {house_schema(kind): []}
    for field in fields:
        by_schema.setdefault(field.schema(kind), []).append(field)
    parts: list[TextCells | str] = ["<ExtendedData>"]
    for schema, several in by_schema.items():
        mark = f'<SimpleData name="{KIND}">{kind}</SimpleData>' if schema == house_schema(kind) else ""
        parts.append(f'<SchemaData schemaUrl="#{schema}">{mark}')
        for field in several:
            opening = f'<SimpleData name="{write_name(field.name)}">'
            parts.append(wrap_cells(opening, escape_xml(field.cells(rows)), "</SimpleData>"))
        parts.append("</SchemaData>")
    return [*parts, "</ExtendedData>"]


def declare(kind: str, fields: Iterable[Field]) -> dict[str, dict[str, str]]:
    """Return the schemas that a kind's fields need: by identifier, each field's type by name."""
    schemas: dict[str, dict[str, str]] = {house_schema(kind): {KIND: "string"}}
    for field in fields:
        schemas.setdefault(field.schema(kind), {})[field.name] = field.kml_type
    return schemas


def to_columns(rows: Sequence[Mapping[str, Any]]) -> dict[str, ForeignColumn]:
    """Return dictionaries as object columns by name, ``None`` where a row lacks one."""
    names = dict.fromkeys(name for row in rows for name in row)
    return {name: np.fromiter((row.get(name) for row in rows), dtype=object, count=len(rows)) for name in names}
