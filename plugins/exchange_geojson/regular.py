"""Features that are all alike, read as columns from the bytes, many thousand at a time.

The first feature at hand is the pattern. The quotes of the block say where the values of the features after it must
be; that every byte between the values is the pattern's is then checked for each of them, and that each value is what
JSON allows there. Reading stops before the first feature that differs: it and what follows are read another way.
"""

from __future__ import annotations

import json
import re
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from exchange.formats.properties import KIND, TABLES
from exchange_geojson.rows import Rows
from exchange_geojson.slot_values import IrregularValuesError, SlotReader
from exchange_geojson.source_bytes import Window
from exchange_geojson.template import IrregularError, Slot, Template, make_template

Positions = NDArray[np.int64]

FEWEST_ROWS = 32
"""With fewer features alike it is not worth the search for them."""
_LONGEST_FEATURE = 1 << 16
_LONGEST_NUMBER = 26
_SAMPLE = 16
_SEPARATORS = {",": re.compile(rb"[ \t\r\n]*,[ \t\r\n]*(?=\{)"), "\n": re.compile(rb"[ \t\r]*\n\x1e?(?=\{)")}
_SENTINEL = b'"\x01\x01"'


class RegularReader:
    """Take runs of regular features from a window.

    Parameters
    ----------
    separator
        What stands between features: a comma, or a line end for one feature a line.
    """

    def __init__(self, separator: str) -> None:
        self._separator = _SEPARATORS[separator]
        self._pause = self._failures = 0
        self._template: Template | None = None
        self._has_nulls = False

    def take(self, window: Window, *, first_record: int) -> tuple[str, Rows] | None:
        """Return what the features are and their columns, and move behind them; ``None`` where they are not alike."""
        if self._pause:
            self._pause -= 1
            return None
        block = window.data[window.position :] if window.position else window.data
        found = self._try(block, first_record)
        if found is None and not self._has_nulls and b"null" in block:
            self._has_nulls = True
            found = self._try(block, first_record)
        # A file that is never regular is not asked again and again.
        self._failures = 0 if found else self._failures + 1
        self._pause = 0 if found or self._failures < 2 else min(4 ** (self._failures - 2), 64)
        if found is None:
            return None
        mark, rows, end = found
        window.position += end
        return mark, rows

    def _try(self, block: bytes, first_record: int) -> tuple[str, Rows, int] | None:
        try:
            template, between = self._find_template(block)
            if template.mark and template.mark not in TABLES:
                return None
            if self._has_nulls:
                block = _mark_nulls(block, template)
            rows, end = _Scan(block, template, between, has_marks=self._has_nulls).read(first_record)
        except (IrregularError, IrregularValuesError):
            return None
        self._template = template
        return template.mark, rows, end

    def _find_template(self, block: bytes) -> tuple[Template, bytes]:
        """Return the pattern to follow: where texts may be missing, the one seen so far that has most of them."""
        features, between = _find_first(block, self._separator, count=_SAMPLE if self._has_nulls else 1)
        richest = make_template(max(features, key=lambda feature: feature.count(b'"')), KIND)
        known = self._template if self._has_nulls else None
        if known is not None and len(_text_slots(known)) > len(_text_slots(richest)):
            return known, between
        return richest, between


def _text_slots(template: Template) -> list[Slot]:
    return [slot for slot in template.slots if slot.kind == "text"]


def _find_first(block: bytes, separator: re.Pattern[bytes], *, count: int) -> tuple[list[bytes], bytes]:
    """Return the first features, and what separates the first of them from the next."""
    head = block[: _LONGEST_FEATURE * count]
    features: list[bytes] = []
    between = b""
    position = 0
    while len(features) < count:
        text = head[position : position + _LONGEST_FEATURE].decode(errors="ignore")
        try:
            _, end = json.JSONDecoder().raw_decode(text)
        except (ValueError, RecursionError):
            break
        feature = text[:end].encode()
        following = separator.match(head, position + len(feature))
        if following is None or not head.startswith(feature, position):
            break
        features.append(feature)
        between = between or following[0]
        position = following.end()
    if not features:
        raise IrregularError("first")
    return features, between


def _mark_nulls(block: bytes, template: Template) -> bytes:
    """Return the block with ``null`` in the place of text as a text of its own, so that all features have all quotes.

    The text is made of control characters, which a valid file cannot hold; what is no valid file differs later on.
    """
    if b"\x01" in block:
        raise IrregularError("control characters")
    for slot, before in zip(template.slots, template.constants, strict=False):
        if slot.kind == "text":
            start = before.rindex(b'"', 0, before.rindex(b'"', 0, len(before) - 1))
            name = before[start:-1]
            block = block.replace(name + b"null", name + _SENTINEL)
    return block


class _Scan:
    """One block, its quotes, and the features that follow the template."""

    def __init__(self, block: bytes, template: Template, between: bytes, *, has_marks: bool) -> None:
        self._template = template
        self._has_marks = has_marks
        self._constants = [*template.constants[:-1], template.constants[-1] + between + template.constants[0]]
        self._data = np.frombuffer(block, np.uint8)
        limit = block.find(b"\\")
        self._block = block if limit < 0 else block[:limit]
        self._quotes = np.flatnonzero(self._data[: len(self._block)] == ord('"'))

    def read(self, first_record: int) -> tuple[Rows, int]:
        """Return the regular features from the start of the block, and where the first that is not begins.

        Raises
        ------
        IrregularError, IrregularValuesError
            When too few features are regular.
        """
        starts, ends = self._find_constants()
        good = self._check_constants(starts)
        shortest = [0 if slot.kind == "text" else 1 for slot in self._template.slots]
        good &= (starts[1:] - ends[:-1] >= np.array(shortest)[:, np.newaxis]).all(axis=0)
        count = len(good) if good.all() else int(np.argmin(good))
        if count < FEWEST_ROWS:
            raise IrregularError("rows")
        end = int(ends[-1, count - 1]) - len(self._constants[0])
        self._check_characters(end, count)
        slots = SlotReader(self._block, ends[:-1, :count], starts[1:, :count], _SENTINEL[1:-1].decode())
        return slots.to_rows(self._template, first_record), end

    def _find_constants(self) -> tuple[Positions, Positions]:
        """Return where each constant of each feature starts and ends, shape (constants, features)."""
        per_row = sum(constant.count(b'"') for constant in self._template.constants)
        rows = (len(self._quotes) - 1) // per_row
        if rows < FEWEST_ROWS:
            raise IrregularError("rows")
        starts = np.empty((len(self._constants), rows), dtype=np.int64)
        lengths = np.array([len(constant) for constant in self._constants])
        before = 0
        for index, constant in enumerate(self._constants):
            if b'"' in constant:
                # The first quote of the next feature stands behind the last one of this.
                quotes = self._quotes[before : before + per_row * rows : per_row]
                np.subtract(quotes, constant.index(b'"'), out=starts[index])
                before += constant.count(b'"')
            else:
                ends = starts[index - 1] + lengths[index - 1]
                starts[index] = _find_comma(self._data, ends) - constant.index(b",")
        return starts, starts + lengths[:, np.newaxis]

    def _check_constants(self, starts: Positions) -> NDArray[np.bool_]:
        """Return which features have every constant where it must be; a feature also needs the one before it."""
        # What stands before the first slot is part of the last constant of the feature before.
        good = np.full(starts.shape[1], starts[0, 0] == 0 and self._block.startswith(self._constants[0]))
        for constant, start in zip(self._constants[1:], starts[1:], strict=True):
            good &= _match(self._data, constant, start)
        return good

    def _check_characters(self, end: int, count: int) -> None:
        """Refuse text that is no UTF-8, and control characters beyond those between the values."""
        used = self._block[:end]
        if not used.isascii():
            _require_utf_8(used)
        blanks = sum(byte < 32 for constant in self._constants[1:] for byte in constant)
        expected = blanks * count + (2 * used.count(_SENTINEL) if self._has_marks else 0)
        if int(np.count_nonzero(self._data[:end] < 32)) != expected:
            raise IrregularError("control characters")


def _require_utf_8(data: bytes) -> None:
    try:
        data.decode()
    except UnicodeDecodeError as error:
        raise IrregularError("encoding") from error


def _find_comma(data: NDArray[np.uint8], after: Positions) -> Positions:
    """Return the place of the first comma behind each place, where a number stands in between.

    Where there is none, or the block ends too soon, it is a place with no comma.
    """
    places = after.clip(0, len(data) - _LONGEST_NUMBER)
    is_comma = np.lib.stride_tricks.sliding_window_view(data, _LONGEST_NUMBER)[places] == ord(",")
    return np.asarray(places + is_comma.argmax(axis=1))


def _match(data: NDArray[np.uint8], constant: bytes, starts: Positions) -> NDArray[np.bool_]:
    """Return where the constant stands at the given places, compared up to eight bytes at a time."""
    size = len(constant)
    if len(data) < size:
        return np.zeros(len(starts), dtype=bool)
    width = next(width for width in (8, 4, 2, 1) if width <= size)
    words: Any = np.ndarray((len(data) - width + 1,), f"<u{width}", buffer=data, strides=(1,))
    good: NDArray[np.bool_] = (starts >= 0) & (starts + size <= len(data))
    places = starts if good.all() else np.where(good, starts, 0)
    for offset in _offsets(size, width):
        wanted = np.frombuffer(constant, f"<u{width}", 1, offset)[0]
        good &= words[places + offset] == wanted
    return good


def _offsets(size: int, width: int) -> Sequence[int]:
    return sorted({*range(0, size - width + 1, width), size - width})
