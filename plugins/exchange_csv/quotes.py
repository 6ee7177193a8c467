"""Prove byte by byte that the quotes of a table stand around whole cells only."""

from __future__ import annotations

from typing import IO

import numpy as np
from numpy.typing import NDArray

_SCAN_BYTES = 1 << 22
_QUOTE = ord('"')


def has_regular_quotes(stream: IO[bytes], separator: str) -> bool:
    """Tell whether every quote of a table opens or closes a whole cell, or stands doubled inside one.

    Quotes are counted from the start: an even one opens and must follow a separator or a line's end, an odd one
    closes and must come before one; where a closing quote and the next opening one touch, they are a doubled quote.
    """
    edges = np.zeros(256, dtype=bool)
    edges[[ord("\r"), ord("\n"), *separator.encode()]] = True
    quotes, tail = 0, b"\n"
    while True:
        block = stream.read(_SCAN_BYTES)
        # The last byte is held back until it is known what follows it.
        data = np.frombuffer(tail + (block or b"\n"), np.uint8)
        places = np.flatnonzero(data[1:-1] == _QUOTE) + 1
        if not _are_regular(data, places, quotes, edges):
            return False
        quotes += len(places)
        if not block:
            return quotes % 2 == 0
        tail = data[-2:].tobytes()


def _are_regular(data: NDArray[np.uint8], places: NDArray[np.int64], quotes: int, edges: NDArray[np.bool_]) -> bool:
    opening = (np.arange(quotes, quotes + len(places)) % 2) == 0
    opens, closes = places[opening], places[~opening]
    previous, following = data[opens - 1], data[closes + 1]
    return bool((edges[previous] | (previous == _QUOTE)).all() and (edges[following] | (following == _QUOTE)).all())
