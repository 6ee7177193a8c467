"""Texts one after the other: behind record separators (RFC 8142), or one a line."""

from __future__ import annotations

from typing import Any

import orjson

from exchange.errors import MalformedError
from exchange.model import Problem
from exchange_geojson.careful import CarefulDecoder
from exchange_geojson.ordinary import has_all_names, is_safe
from exchange_geojson.regular import RegularReader
from exchange_geojson.rows import Rows
from exchange_geojson.source_bytes import BLOCK_BYTES, Window

_SEPARATOR = b"\x1e"
_PIECE_BYTES = 1 << 19


class SequenceReader:
    """Take texts from a window, from the fastest way that is certain to the careful one."""

    def __init__(self, window: Window) -> None:
        self._window = window
        self._decoder = CarefulDecoder()
        self._regular = RegularReader("\n")
        self._has_separators = window.skip_blank() == _SEPARATOR
        self._skipped: list[Problem] = []

    @property
    def problems(self) -> list[Problem]:
        """What was repaired or left out so far."""
        return [*self._decoder.repairs, *self._skipped]

    def tell_style(self) -> list[Problem]:
        """Tell that the texts have no record separators, where they have none."""
        message = "the objects stand one a line, without the record separators of the standard"
        return [] if self._has_separators else [Problem(message=message, severity="note")]

    def is_done(self) -> bool:
        """Tell whether nothing is left; else the window stands at the next text."""
        while (mark := self._window.skip_blank()) == _SEPARATOR:
            self._window.position += 1
        if self._window.unused() < BLOCK_BYTES // 4:
            self._window.fill()
        return not mark

    def read_first(self) -> dict[str, Any]:
        """Return the first text that is an object; empty where there is none."""
        while not self.is_done():
            for value in self._take_carefully(1):
                return value if isinstance(value, dict) else {"type": value}
        return {}

    def take_rows(self, *, first_record: int) -> tuple[str, Rows] | None:
        """Return features that are all alike as columns, or ``None``."""
        return self._regular.take(self._window, first_record=first_record)

    def take_value(self, record: int) -> list[Any]:
        """Return the next text as a value, or nothing where it was left out.

        Raises
        ------
        MalformedError
            When a text that is not behind a record separator is none.
        UnsafeInputError
            When one is nested too deeply.
        """
        return self._take_carefully(record)

    def take_lines(self) -> list[Any]:
        """Return the values of many whole lines at once, or nothing where that is not certain to be right."""
        window = self._window
        block = window.data[window.position : window.position + _PIECE_BYTES]
        chunk = block[: block.rfind(b"\n") + 1]
        if not chunk or not is_safe(chunk):
            return []
        try:
            values = [orjson.loads(line) for line in map(_strip, chunk.split(b"\n")) if line]
        except orjson.JSONDecodeError:
            return []
        if not has_all_names(chunk, values):
            return []
        window.position += len(chunk)
        return values

    def _take_carefully(self, record: int) -> list[Any]:
        try:
            value = self._decoder.decode_next(self._window, record=record)
            self._require_end(record)
        except MalformedError as error:
            if not self._has_separators:
                raise
            self._skip_text(error, record)
            return []
        return [value]

    def _require_end(self, record: int) -> None:
        """Require that a text ends where its line or its record does.

        Raises
        ------
        MalformedError
            When something else follows.
        """
        window = self._window
        end = window.position
        mark = window.skip_blank()
        if self._has_separators:
            if mark not in (b"", _SEPARATOR):
                raise MalformedError("something follows the end of the object", record=record)
        elif mark and b"\n" not in window.data[max(end, 0) : window.position] and window.position > 0:
            raise MalformedError(
                "a second object stands on the same line", record=record, remedy="Write one object a line."
            )

    def _skip_text(self, error: MalformedError, record: int) -> None:
        """Go to the next record separator, and tell what was left out."""
        window = self._window
        while (found := window.data.find(_SEPARATOR, window.position)) < 0 and not window.is_last:
            window.position = len(window.data)
            window.fill()
        window.position = len(window.data) if found < 0 else found
        self._skipped.append(
            Problem(
                message=f"a text of the sequence was left out: {error.message}",
                remedy=error.remedy or "",
                record=record,
            )
        )


def _strip(line: bytes) -> bytes:
    return line.strip(b" \t\r\x1e")
