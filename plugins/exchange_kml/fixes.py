"""The fixes of a track as they stream by: times, positions, angles and the columns beside them."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import tzinfo

import numpy as np
from numpy.typing import NDArray

from exchange.formats.time_text import parse_times
from exchange.formats.xml.characters import restore_text
from exchange.model.columns import TextColumn, TimeColumn
from exchange_kml.coordinates import NAN

_PIECE = 16_384
BROKEN_COORD = "a fix's position is not three numbers; the fix is kept without one"
EXPONENT_COORD = (
    "a fix's position is written with an exponent, which KML does not allow; it is read as the number it is"
)


@dataclass
class Times:
    """Times read piece by piece, so that their texts need not be kept.

    Attributes
    ----------
    zone
        Of times that carry none.
    without_zone, unreadable
        How many there were, and the first.
    texts
        What stood there, by row, of those that were not taken.
    """

    zone: tzinfo | None = None
    without_zone: int = 0
    unreadable: int = 0
    texts: dict[int, str] = field(default_factory=dict)
    _pieces: list[TimeColumn] = field(default_factory=list)
    _waiting: list[str] = field(default_factory=list)
    _count: int = 0

    def add(self, text: str) -> None:
        """Take one time."""
        self._waiting.append(text.strip())
        if len(self._waiting) >= _PIECE:
            self._parse()

    def add_texts(self, texts: list[str]) -> None:
        """Take several times, without white space around them."""
        self._parse()
        self._waiting = texts
        self._parse()

    def finish(self) -> TimeColumn:
        """Return all times, NaT where one was not taken."""
        self._parse()
        return np.concatenate([*self._pieces, np.empty(0, dtype="datetime64[ms]")])

    def _parse(self) -> None:
        parsed = parse_times(self._waiting, zone=self.zone)
        for row in (*parsed.without_zone.tolist(), *parsed.unreadable.tolist()):
            self.texts[self._count + row] = self._waiting[row]
        self.without_zone += len(parsed.without_zone)
        self.unreadable += len(parsed.unreadable)
        self._pieces.append(parsed.time)
        self._count += len(self._waiting)
        self._waiting = []


@dataclass
class Numbers:
    """Rows of three numbers apart by blanks, read piece by piece; an empty text is a row of NaN.

    Attributes
    ----------
    broken, exponents
        How many rows were not three numbers, or were written with an exponent.
    texts
        What stood in the rows that were not taken, by row.
    """

    broken: int = 0
    exponents: int = 0
    texts: dict[int, str] = field(default_factory=dict)
    _pieces: list[NDArray[np.float64]] = field(default_factory=list)
    _waiting: list[str] = field(default_factory=list)
    _count: int = 0

    def add(self, text: str) -> None:
        """Take one row."""
        self._waiting.append(text)
        if len(self._waiting) >= _PIECE:
            self._parse()

    def add_texts(self, texts: list[str]) -> None:
        """Take several rows."""
        self._parse()
        self._waiting = texts
        self._parse()

    def add_many(self, rows: NDArray[np.float64]) -> None:
        """Take rows that are read already, shape (n, 3)."""
        self._parse()
        self._pieces.append(rows)
        self._count += len(rows)

    def finish(self) -> NDArray[np.float64]:
        """Return all rows, shape (n, 3)."""
        self._parse()
        return np.concatenate([*self._pieces, np.empty((0, 3))])

    def __len__(self) -> int:
        """Return the number of rows taken."""
        return self._count + len(self._waiting)

    def _parse(self) -> None:
        rows = np.full((len(self._waiting), 3), np.nan)
        for row, text in enumerate(self._waiting):
            values = text.split()
            if not values:
                continue
            read = [_read_number(value) for value in values]
            if len(values) not in (2, 3) or any(value is None for value in read):
                self.broken += 1
                self.texts[self._count + row] = text.strip()
                continue
            self.exponents += "e" in text or "E" in text
            rows[row, : len(read)] = read
        self._pieces.append(rows)
        self._count += len(self._waiting)
        self._waiting = []


def _read_number(text: str) -> float | None:
    try:
        value = float(text) if "_" not in text else NAN
    except ValueError:
        return None
    return value if np.isfinite(value) else None


@dataclass
class TrackParts:
    """One gx:Track as it streamed by.

    Attributes
    ----------
    times, positions, angles
        Each with as many rows as the file has elements of it.
    arrays
        Columns beside the fixes: by (schema URL, name).
    altitude_mode
        What the heights are measured from.
    """

    times: Times
    positions: Numbers = field(default_factory=Numbers)
    angles: Numbers = field(default_factory=Numbers)
    arrays: dict[tuple[str, str], TextColumn] = field(default_factory=dict)
    altitude_mode: str = ""


def restore_all(texts: TextColumn) -> TextColumn:
    r"""Return a column of texts with the escapes of characters that XML cannot hold (``\u0007``) undone."""
    if not any("\\u" in text for text in texts.tolist()):
        return texts
    return np.fromiter((restore_text(text) for text in texts.tolist()), dtype=object, count=len(texts))
