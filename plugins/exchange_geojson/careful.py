"""One JSON value at a time, read by the rules: the definition that the faster ways are held to.

What breaks JSON is an error. What is JSON or nearly so, and would lose something silently in a faster reader, is
repaired and counted: a name given twice, ``NaN`` and ``Infinity``, numbers beyond the range, half a surrogate pair.
"""

from __future__ import annotations

import json
import math
import re
from dataclasses import replace
from typing import Any

import orjson

from exchange.errors import MalformedError, UnsafeInputError
from exchange.model import Problem
from exchange_geojson.source_bytes import Window

_START_BYTES = 1 << 16
_NEAR_END = 64
_HALF_PAIR = re.compile("[\ud800-\udfff]")
_BLANK = " \t\r\n"


class CarefulDecoder:
    """Decode values from a window; the repairs made are left in ``repairs``."""

    def __init__(self) -> None:
        self.repairs: list[Problem] = []
        self._size = _START_BYTES
        hooks: dict[str, Any] = {"object_pairs_hook": self._make_object, "parse_constant": self._drop_constant}
        self._plain = json.JSONDecoder(**hooks)
        self._watchful = json.JSONDecoder(**hooks, parse_float=self._make_float)

    def decode_next(self, window: Window, *, record: int = 0) -> Any:
        """Decode the value at the window's position and move behind it.

        Raises
        ------
        MalformedError
            When it is no JSON value, or the file ends within it.
        UnsafeInputError
            When it is nested too deeply.
        """
        size = self._size
        while True:
            if window.unused() < size and not window.is_last:
                window.fill(size)
            chunk = window.data[window.position : window.position + size]
            whole = window.is_last and len(chunk) == window.unused()
            found = self._try(_decode_text(chunk, whole=whole, record=record), whole=whole, record=record)
            if found is not None:
                value, length = found
                # Large features tend to come together.
                self._size = size if length > _START_BYTES else _START_BYTES
                window.position += length
                return value
            size *= 4

    def decode_several(self, window: Window, *, separator: str, limit: int, first_record: int = 0) -> list[Any]:
        """Decode the values at the window's position, each with a separator behind it, as far as they are at hand.

        Stops before the first that is not whole, is not followed by the separator, or is no JSON.
        """
        chunk = window.data[window.position : window.position + limit]
        text = _decode_text(chunk, whole=False, record=0, strict=False)
        values: list[Any] = []
        used = end = 0
        while True:
            mark = len(self.repairs)
            try:
                value, end = self._decode(text, _skip(text, used))
            except (ValueError, RecursionError):
                del self.repairs[mark:]
                break
            after = _skip(text, end)
            if not isinstance(value, dict) or text[after : after + 1] != separator:
                del self.repairs[mark:]
                break
            values.append(self._mend(value, text[used:end]))
            self._set_record(mark, first_record and first_record + len(values) - 1)
            used = _skip(text, after + 1)
        window.position += used if text.isascii() else len(text[:used].encode())
        return values

    def _try(self, text: str, *, whole: bool, record: int) -> tuple[Any, int] | None:
        mark = len(self.repairs)
        try:
            value, end = self._decode(text, 0)
        except json.JSONDecodeError as error:
            del self.repairs[mark:]
            if not whole and (error.pos > len(text) - _NEAR_END or error.msg.startswith("Unterminated")):
                return None
            raise _describe(error, whole=whole, record=record) from error
        except RecursionError as error:
            raise UnsafeInputError(
                "is nested too deeply to be honest", record=record or None, remedy="Do not trust this file."
            ) from error
        except ValueError as error:
            raise MalformedError(f"a number has too many digits ({error})", record=record or None) from error
        if end == len(text) and not whole and not isinstance(value, (dict, list)):
            return None
        mended = self._mend(value, text[:end])
        self._set_record(mark, record)
        return mended, end if text.isascii() else len(text[:end].encode())

    def _decode(self, text: str, start: int) -> tuple[Any, int]:
        """Decode one value; each number is looked at only where a strict reader finds something wrong."""
        mark = len(self.repairs)
        value, end = self._plain.raw_decode(text, start)
        try:
            orjson.loads(text[start:end])
        except orjson.JSONDecodeError:
            del self.repairs[mark:]
            return self._watchful.raw_decode(text, start)
        return value, end

    def _set_record(self, mark: int, record: int) -> None:
        self.repairs[mark:] = [replace(repair, record=record) for repair in self.repairs[mark:]]

    def _mend(self, value: Any, text: str) -> Any:
        return self._replace_half_pairs(value) if "\\ud" in text or "\\uD" in text else value

    def _replace_half_pairs(self, value: Any) -> Any:
        if isinstance(value, str):
            mended, count = _HALF_PAIR.subn("\ufffd", value)
            if count:
                self._tell("half a surrogate pair is no character and was replaced", ascii(value))
            return mended
        if isinstance(value, list):
            return [self._replace_half_pairs(item) for item in value]
        if isinstance(value, dict):
            return {self._replace_half_pairs(name): self._replace_half_pairs(item) for name, item in value.items()}
        return value

    def _make_object(self, pairs: list[tuple[str, Any]]) -> dict[str, Any]:
        made = dict(pairs)
        if len(made) != len(pairs):
            for name, value in _find_overwritten(pairs):
                self._tell("a name is given twice in one object; the last value was taken", str(value), name)
        return made

    def _drop_constant(self, text: str) -> None:
        self._tell(f"{text} is no JSON number; the value was left out", text)

    def _make_float(self, text: str) -> float | None:
        number = float(text)
        if math.isinf(number):
            self._tell("the number is beyond what can be computed with; the value was left out", text)
            return None
        return number

    def _tell(self, message: str, value: str, name: str = "") -> None:
        self.repairs.append(Problem(message=message, severity="changed", field=name, value=value))


def _find_overwritten(pairs: list[tuple[str, Any]]) -> list[tuple[str, Any]]:
    last = {name: index for index, (name, _) in enumerate(pairs)}
    return [(name, value) for index, (name, value) in enumerate(pairs) if index != last[name]]


def _skip(text: str, position: int) -> int:
    while position < len(text) and text[position] in _BLANK:
        position += 1
    return position


def _decode_text(chunk: bytes, *, whole: bool, record: int, strict: bool = True) -> str:
    """Return the bytes as text; a character cut in two at the end waits for the next piece."""
    try:
        return chunk.decode()
    except UnicodeDecodeError as error:
        is_cut = not whole and error.start >= len(chunk) - 3
        if is_cut or not strict:
            return chunk[: error.start].decode()
        raise MalformedError(
            f"the text is not UTF-8 (byte {chunk[error.start]:#04x})",
            record=record or None,
            remedy="State the encoding with --encoding, or save the file as UTF-8.",
        ) from error


def _describe(error: json.JSONDecodeError, *, whole: bool, record: int) -> MalformedError:
    rest = error.doc[error.pos :]
    if whole and (not rest.strip() or error.msg.startswith("Unterminated")):
        return MalformedError(
            "the file ends in the middle of a value", record=record or None, remedy="Ask its sender for the whole file."
        )
    return MalformedError(
        f"is no JSON: {error.msg.removesuffix(' at')} at {rest[:20]!r}",
        record=record or None,
        remedy="Mend that place in the file.",
    )
