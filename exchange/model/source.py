"""Where each row came from: the file, the layer or folder path in it, the record counted from 1."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from exchange.model.columns import TextColumn, freeze


@dataclass(frozen=True)
class Source:
    """Name the origin of one row.

    Attributes
    ----------
    file
        The file's name as the user gave it.
    layer
        Layer, folder path (``Division A/Hot``) or sheet; empty where the format has none.
    record
        Counted from 1 in file order; 0 is unknown.
    """

    file: str = ""
    layer: str = ""
    record: int = 0

    def __str__(self) -> str:
        """Return 'file, layer L, record N'."""
        layer = f", layer {self.layer}" if self.layer else ""
        record = f", record {self.record}" if self.record else ""
        return f"{self.file or 'unknown file'}{layer}{record}"


class Sources:
    """The origins of all rows of a table, each (file, layer) pair stored once.

    Parameters
    ----------
    places
        The distinct (file, layer) pairs.
    code
        Index into ``places`` per row, shape (n,).
    record
        Record number per row, shape (n,), counted from 1; 0 is unknown.
    """

    __slots__ = ("code", "places", "record")

    def __init__(self, places: Sequence[tuple[str, str]], code: NDArray[Any], record: NDArray[Any]) -> None:
        self.places = tuple(places)
        self.code = freeze(np.asarray(code, dtype=np.int32))
        self.record = freeze(np.asarray(record, dtype=np.int64))

    @classmethod
    def unknown(cls, length: int) -> Sources:
        """Return ``length`` rows of unknown origin."""
        return cls.of("", "", np.zeros(length, dtype=np.int64))

    @classmethod
    def of(cls, file: str, layer: str, record: Any) -> Sources:
        """Return the origins of rows that come from one layer of one file; ``record`` has shape (n,)."""
        record = np.asarray(record, dtype=np.int64)
        return cls([(file, layer)], np.zeros(len(record), dtype=np.int32), record)

    @classmethod
    def of_layers(cls, file: str, layers: Sequence[str], record: Any) -> Sources:
        """Return the origins of rows of one file whose layer differs by row; both have shape (n,)."""
        names: dict[str, int] = {}
        code = np.fromiter((names.setdefault(name, len(names)) for name in layers), np.int32, len(layers))
        return cls([(file, name) for name in names], code, record)

    @classmethod
    def join(cls, parts: Sequence[Sources]) -> Sources:
        """Return the origins of several tables laid end to end."""
        places: dict[tuple[str, str], int] = {}
        codes = []
        for part in parts:
            renumbered = [places.setdefault(place, len(places)) for place in part.places]
            codes.append(np.asarray(renumbered, dtype=np.int32)[part.code])
        records = [part.record for part in parts]
        return cls(list(places), np.concatenate(codes), np.concatenate(records))

    def __len__(self) -> int:
        """Return the number of rows."""
        return len(self.code)

    def __getitem__(self, row: int) -> Source:
        """Return the origin of one row."""
        file, layer = self.places[self.code[row]]
        return Source(file, layer, int(self.record[row]))

    def take(self, rows: Any) -> Sources:
        """Return the origins of the chosen rows (indices, a slice or a mask)."""
        return Sources(self.places, self.code[rows], self.record[rows])

    @property
    def file(self) -> TextColumn:
        """The file of each row."""
        return self._spread([file for file, _ in self.places])

    @property
    def layer(self) -> TextColumn:
        """The layer of each row."""
        return self._spread([layer for _, layer in self.places])

    def _spread(self, names: list[str]) -> TextColumn:
        table = np.fromiter(names, dtype=object, count=len(names))
        return table[self.code] if len(names) else np.empty(0, dtype=object)
