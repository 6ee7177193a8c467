"""Which numbers are meant by ``H-010..H-040,H-077``."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from exchange.errors import OptionError

_NUMBER = re.compile(r"([A-Z]{1,8})-([0-9]{1,9})")


@dataclass(frozen=True)
class NumberRanges:
    """Single numbers, and ranges of one series with both ends included.

    Attributes
    ----------
    singles
        Numbers or foreign identifiers as they stand in the list.
    ranges
        Series, first and last count.
    """

    singles: frozenset[str]
    ranges: tuple[tuple[str, int, int], ...]

    @classmethod
    def parse(cls, texts: Iterable[str]) -> NumberRanges:
        """Read ranges and numbers, several in one text separated by commas.

        Raises
        ------
        OptionError
            When a range is not of one series, or runs backwards.

        Examples
        --------
        >>> NumberRanges.parse(["H-010..H-040", "H-077, spot 3"]).singles == {"H-077", "spot 3"}
        True
        """
        parts = [part for text in texts for part in map(str.strip, text.split(",")) if part]
        ranges = tuple(_parse_range(part) for part in parts if ".." in part)
        return cls(frozenset(part for part in parts if ".." not in part), ranges)

    def include(self, numbers: NDArray[np.object_]) -> NDArray[np.bool_]:
        """Tell which numbers are meant."""
        return np.fromiter(map(self._includes, numbers), np.bool_, len(numbers))

    def _includes(self, number: str) -> bool:
        if number in self.singles:
            return True
        match = _NUMBER.fullmatch(number)
        return match is not None and any(
            series == match[1] and first <= int(match[2]) <= last for series, first, last in self.ranges
        )


def _parse_range(text: str) -> tuple[str, int, int]:
    ends = [_NUMBER.fullmatch(end.strip()) for end in text.split("..")]
    first, last = ends if len(ends) == 2 else (None, None)
    if not (first and last) or first[1] != last[1] or int(first[2]) > int(last[2]):
        raise OptionError(f"{text!r} is no range of numbers", field="--numbers", remedy="Write it as H-010..H-040.")
    return first[1], int(first[2]), int(last[2])
