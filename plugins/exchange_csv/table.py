"""A table of text whose way of writing is known, and the blocks of columns it is read in."""

from __future__ import annotations

from dataclasses import dataclass
from typing import IO, Any

import numpy as np
from numpy.typing import NDArray

from exchange.formats.format import InputFile
from exchange.model import Problem
from exchange_csv.dialect import Dialect
from exchange_csv.encoding import Encoding, open_text

_HEAD_BYTES = 1 << 18
_WIDEST_CHARACTER = 4
CACHED_BYTES = 1 << 26
"""Up to this size a table is kept once it is read as text, since it is gone through twice."""


@dataclass(frozen=True)
class Block:
    """Some records of a table.

    Attributes
    ----------
    columns
        Arrow columns of text by name, each of shape (n,); a missing cell is the empty text.
    records
        Number of each record, counted from 1.
    problems
        Of records that were mended or left out.
    """

    columns: dict[str, Any]
    records: NDArray[np.int64]
    problems: tuple[Problem, ...] = ()

    def __len__(self) -> int:
        """Return the number of records."""
        return len(self.records)


@dataclass(frozen=True)
class TextTable:
    """A table of text whose encoding and dialect are known."""

    file: InputFile
    encoding: Encoding
    dialect: Dialect
    batch_rows: int = 65_536

    def is_small(self) -> bool:
        """Tell whether the table may be kept in memory as text."""
        return self.file.path.stat().st_size <= CACHED_BYTES

    def is_open_ended(self) -> bool:
        """Tell whether the last line of the file has no end."""
        size = self.file.path.stat().st_size
        with self.file.open() as stream:
            stream.seek(max(size - _WIDEST_CHARACTER, 0))
            end = stream.read()
        line_ends = [mark.encode(self.encoding.name) for mark in ("\n", "\r")]
        return bool(end) and not end.endswith(tuple(line_ends))

    def open_data(self) -> IO[bytes]:
        """Open the table after its header, as UTF-8."""
        stream = open_text(self.file, self.encoding)
        stream.seek(stream.tell() + self.dialect.data_start)
        return stream


def read_head(file: InputFile, encoding: Encoding) -> str:
    """Return the first part of a table as text, cut after a whole line where the file goes on."""
    with open_text(file, encoding) as stream:
        data = stream.read(_HEAD_BYTES)
        goes_on = bool(stream.read(1))
    text = data.decode("utf-8", errors="ignore")
    cut = max(text.rfind("\n"), text.rfind("\r")) + 1
    return text[:cut] if goes_on and cut else text
