"""The small file beside a shapefile that keeps what its table cannot: long names, types, long or odd values."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from exchange.formats.values import from_text
from exchange.model.columns import ForeignColumn, to_foreign_column
from exchange_ogr.own_table import dump_values, load_values

SUFFIX = ".fields.json"


@dataclass
class Sidecar:
    """Keep what a shapefile's table cannot hold.

    Attributes
    ----------
    names
        Full name by the shortened name in the table.
    types
        Type (``exchange.formats.values``) by full name, where the table knows text only.
    rows
        Values that no field holds, by row counted from 0.
    """

    names: dict[str, str] = field(default_factory=dict)
    types: dict[str, str] = field(default_factory=dict)
    rows: dict[int, str] = field(default_factory=dict)

    @classmethod
    def load(cls, path: Path) -> Sidecar:
        """Read it; a missing file gives an empty one.

        Raises
        ------
        ValueError
            When the file is no sidecar.
        """
        if not path.exists():
            return cls()
        kept = json.loads(path.read_text(encoding="utf-8"))
        return cls(kept["names"], kept["types"], {int(row): text for row, text in kept["rows"].items()})

    def save(self, path: Path) -> None:
        """Write it; raises ``OSError`` when it cannot be written."""
        kept = {"names": self.names, "types": self.types, "rows": {str(row): text for row, text in self.rows.items()}}
        path.write_text(json.dumps(kept, indent=1), encoding="utf-8")

    def keep(self, row: int, values: Mapping[str, Any]) -> None:
        """Keep a row's values by name."""
        text = dump_values(values)
        if text:
            self.rows[row] = text

    def values(self, row: int) -> dict[str, Any]:
        """Return what was kept of a row; raises ``ValueError`` when it cannot be read."""
        return load_values(self.rows.get(row))

    def restore(self, columns: Mapping[str, ForeignColumn]) -> dict[str, ForeignColumn]:
        """Return a table's columns under their full names and with their types; raises ``ValueError``."""
        named = {self.names.get(name, name): column for name, column in columns.items()}
        return {name: self._restore_type(name, column) for name, column in named.items()}

    def _restore_type(self, name: str, column: ForeignColumn) -> ForeignColumn:
        kind = self.types.get(name)
        if kind is None:
            return column
        return to_foreign_column([from_text(value, kind) if value else None for value in column.tolist()])
