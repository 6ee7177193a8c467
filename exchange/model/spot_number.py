"""The permanent number of a spot: ``H-014``, a series and a count, never reused.

A number that was folded into another stays with it as an alias, in the foreign column ``ALIASES`` of the list.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray

if TYPE_CHECKING:
    from exchange.model.detections import Detections

SERIES = "H"
"""The series of numbers given where none is asked for."""

ALIASES = "aliases"
"""Foreign column of a list: the numbers that were folded into the row's own, separated by ``ALIAS_SEPARATOR``."""

ALIAS_SEPARATOR = "; "

_NUMBER = re.compile(r"([A-Z]{1,8})-([0-9]{3,9})")


def write_numbers(counts: ArrayLike, series: str = SERIES) -> list[str]:
    """Return the numbers of whole counts from 1 up, of at least three digits.

    Examples
    --------
    >>> write_numbers([14, 1014])
    ['H-014', 'H-1014']
    """
    return [f"{series}-{count:03d}" for count in np.asarray(counts, np.int64).tolist()]


def read_counts(numbers: Iterable[str], series: str = SERIES) -> NDArray[np.int64]:
    """Return the counts of the numbers of one series; 0 where a text is no number of it.

    Examples
    --------
    >>> read_counts(["H-014", "H-1014", "K-002", "spot 3", ""]).tolist()
    [14, 1014, 0, 0, 0]
    """
    found = (_NUMBER.fullmatch(number) for number in numbers)
    return np.array([int(match[2]) if match and match[1] == series else 0 for match in found], np.int64)


def is_permanent(numbers: Iterable[str]) -> NDArray[np.bool_]:
    """Tell of each text whether it is a number as lists give them, of any series.

    Examples
    --------
    >>> is_permanent(["H-014", "K-1002", "14", "spot 3"]).tolist()
    [True, True, False, False]
    """
    return np.array([_NUMBER.fullmatch(number) is not None for number in numbers], np.bool_)


def join_aliases(aliases: Iterable[str]) -> str:
    """Return aliases as one text, each once, in order."""
    return ALIAS_SEPARATOR.join(dict.fromkeys(aliases))


def split_aliases(text: str) -> list[str]:
    """Return the aliases of one text.

    Examples
    --------
    >>> split_aliases("H-031; H-040")
    ['H-031', 'H-040']
    """
    return [alias for part in text.split(ALIAS_SEPARATOR.strip()) if (alias := part.strip())]


def find_aliases(spots: Detections) -> dict[str, str]:
    """Return, for every alias in a list, the number it was folded into."""
    column = spots.extra.get(ALIASES, ())
    return {
        alias: number for number, text in zip(spots.id, column, strict=False) for alias in split_aliases(text or "")
    }
