"""Whole blocks of features at once by orjson, where it is proven that nothing is lost by it.

orjson takes the last of two equal names, and turns a whole number beyond 64 bits into a rounded one, both without a
word. A block in which either may have happened is left to the careful decoder.
"""

from __future__ import annotations

import re
from typing import Any

import numpy as np
import orjson

from exchange_geojson.source_bytes import Window

_TYPE_FIRST = re.compile(rb'\}\s*,(\s*)\{\s*"type"\s*:\s*$')
_LINE_END = re.compile(rb"\}\s*,\s*\n\s*\{")
_BLOCK_BYTES = 1 << 17
_LONGEST_START = 256
_NAME_END = b'":'
_LONG_NUMBER = re.compile(rb"[0-9]{19}")


def take_block(window: Window) -> list[Any] | None:
    """Return as many features of an array as are at hand, each with its comma used up; ``None`` if not certain.

    Where the block was cut need not be right: what parses between brackets was cut between two of its values.
    """
    block = window.data[window.position : window.position + _BLOCK_BYTES]
    end = _find_cut(block)
    if end < 0 or not is_safe(block[:end]):
        return None
    chunk = block[:end]
    try:
        values = orjson.loads(b"[" + chunk[: chunk.rindex(b",")] + b"]")
    except orjson.JSONDecodeError:
        return None
    if not has_all_names(chunk, values):
        return None
    window.position += end
    return list(values)


def _find_cut(block: bytes) -> int:
    """Return the place behind the comma after the last feature that is certainly whole, or -1."""
    found = block.rfind(b'"Feature"')
    if found > 0:
        start = max(found - _LONGEST_START, 0)
        match = _TYPE_FIRST.search(block[start:found])
        if match:
            return start + match.start(1)
    tail = max(len(block) - (1 << 16), 0)
    last = None
    for last in _LINE_END.finditer(block, tail):  # noqa: B007  # the last one is wanted
        pass
    return last.end() - 1 if last else -1


def is_safe(chunk: bytes) -> bool:
    """Tell whether a piece of JSON holds no run of digits as long as a whole number beyond 64 bits has."""
    is_digit = (np.frombuffer(chunk, np.uint8) - ord("0")) < 10
    # A run of 19 covers nine whole pairs in a row; only where there are such is it worth to search.
    even = len(is_digit) // 2 * 2
    run = is_digit[:even:2] & is_digit[1:even:2]
    for step in (1, 2, 4, 1):
        if len(run) <= step:
            return True
        run = run[:-step] & run[step:]
    return not run.any() or _LONG_NUMBER.search(chunk) is None


def has_all_names(chunk: bytes, values: list[Any]) -> bool:
    """Tell whether the objects hold as many names as were written, so that none was given twice.

    A name is what stands before a colon right behind a quote. The same marks within text are in what orjson writes
    of the values as well, unless they were written as numbers of characters.
    """
    if any(blank in chunk for blank in (b" :", b"\t:", b"\n:", b"\r:")):
        return False
    written = sum(map(_count_names, values)) if b"\\u" in chunk else orjson.dumps(values).count(_NAME_END)
    return chunk.count(_NAME_END) == written


def _count_names(value: Any) -> int:
    if isinstance(value, dict):
        inner = value.values()
        return len(value) + sum(_count_names(item) for item in inner if type(item) in (dict, list))
    if isinstance(value, list):
        return sum(_count_names(item) for item in value if type(item) in (dict, list))
    return 0
