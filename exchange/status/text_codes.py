"""Columns of texts as whole numbers; of long ones, with no look-up in Python for each row."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from exchange.model.columns import TextColumn

Codes = NDArray[np.int64]

MANY = 100_000
"""From so many texts on Arrow is worth the time of its import."""


def code_texts(texts: TextColumn) -> tuple[Codes, list[str]]:
    """Return an index per text into the distinct texts, which are in the order of their first rows.

    >>> code_texts(np.array(["b", "a", "b"], dtype=object))
    (array([0, 1, 0]), ['b', 'a'])
    """
    column = _to_arrow(texts)
    if column is not None:
        coded = column.dictionary_encode()
        return coded.indices.to_numpy().astype(np.int64), coded.dictionary.to_pylist()
    codes: dict[str, int] = {}
    rows = np.fromiter((codes.setdefault(text, len(codes)) for text in texts.tolist()), np.int64, len(texts))
    return rows, list(codes)


def find_texts(texts: TextColumn, places: Mapping[str, int]) -> Codes:
    """Return the place of each text, -1 where it has none.

    >>> find_texts(np.array(["b", "c"], dtype=object), {"a": 3, "b": 7})
    array([ 7, -1])
    """
    column = _to_arrow(texts)
    known = _to_arrow(np.fromiter(places, dtype=object, count=len(places)), least=0) if column is not None else None
    if known is None:
        return np.array([places.get(text, -1) for text in texts.tolist()], np.int64)
    import pyarrow.compute as pc

    found = pc.fill_null(pc.index_in(column, known), len(places)).to_numpy()
    rows: Codes = np.array([*places.values(), -1], np.int64)[found]
    return rows


def rank_texts(texts: TextColumn) -> Codes:
    """Return a number per text, in the order of the texts, equal for equal ones.

    >>> rank_texts(np.array(["b", "a", "b"], dtype=object))
    array([1, 0, 1])
    """
    codes, known = code_texts(texts)
    rank = np.empty(len(known), np.int64)
    rank[sorted(range(len(known)), key=known.__getitem__)] = np.arange(len(known))
    return rank[codes]


def _to_arrow(texts: TextColumn, least: int = MANY) -> Any:
    """Return a long column as an Arrow array, ``None`` for a short one or one with names that are not in UTF-8."""
    if len(texts) < least:
        return None
    import pyarrow as pa

    try:
        return pa.array(texts, pa.string())
    except UnicodeEncodeError:
        return None
