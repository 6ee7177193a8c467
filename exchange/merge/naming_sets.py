"""Names joined into one text for each of many sets, where most sets are alike."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

Codes = NDArray[np.int64]

SEPARATOR = "; "


def name_sets(holder: Codes, member: Codes, count: int, names: Sequence[str]) -> tuple[NDArray[np.object_], Codes]:
    """Return the names of the members of each of ``count`` sets, joined, and how many members it has.

    Parameters
    ----------
    holder, member
        The set and the index into ``names`` of each member, sorted by set and then by member, none twice.
    count
        How many sets there are; some may have no member.
    names
        What the members are called.
    """
    size = np.bincount(holder, minlength=count)
    kind, example = _find_kinds(member, size, len(names))
    begin = np.cumsum(size) - size
    chosen = [member[begin[row] : begin[row] + size[row]].tolist() for row in example.tolist()]
    texts = [SEPARATOR.join([names[index] for index in one]) for one in chosen]
    return np.array(texts or [""], object)[kind], size


def _find_kinds(member: Codes, size: Codes, members: int) -> tuple[Codes, Codes]:
    """Return for each set, whose members stand together in order, which kind it is, and a set of each kind."""
    begin = np.cumsum(size) - size
    kind = np.zeros(len(size), np.int64)
    open_rows = np.flatnonzero(size > 0)
    kinds = 1
    for step in range(int(size.max(initial=0))):
        open_rows = open_rows[size[open_rows] > step]
        found, now = np.unique(kind[open_rows] * members + member[begin[open_rows] + step], return_inverse=True)
        kind[open_rows] = kinds + now
        kinds += len(found)
    _, example, kind = np.unique(kind, return_index=True, return_inverse=True)
    return kind, example
