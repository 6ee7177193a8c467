"""Rows that could not stand in their place in the file come back to it."""

from __future__ import annotations

from typing import Generic, TypeVar

import numpy as np
from numpy.typing import NDArray

from exchange.model import Table

AnyTable = TypeVar("AnyTable", bound=Table)


class Weave(Generic[AnyTable]):
    """Put rows that were read beforehand between those that follow in batches.

    Parameters
    ----------
    held
        The rows read beforehand.
    place
        The place of each in the whole table, counted from 0, shape (len(held),).
    """

    def __init__(self, held: AnyTable, place: NDArray[np.int64]) -> None:
        order = np.argsort(place, kind="stable")
        self._held, self._place = held.take(order), place[order]
        self._given = 0
        self._next = 0

    def add(self, batch: AnyTable) -> AnyTable:
        """Return a batch with those of the held rows that stand before its last row or right behind."""
        if self._next >= len(self._held):
            return batch
        places = self._find_places(len(batch))
        last = int(places[-1]) if len(batch) else self._given
        end = int(np.searchsorted(self._place, last + 1, side="left")) if len(batch) else self._next
        while end < len(self._held) and self._place[end] == last + 1:
            last, end = last + 1, end + 1
        due = self._held.take(slice(self._next, end))
        all_places = np.concatenate([places, self._place[self._next : end]])
        self._next, self._given = end, self._given + len(batch) + len(due)
        return type(batch).join([batch, due]).take(np.argsort(all_places, kind="stable"))

    def rest(self) -> AnyTable:
        """Return the held rows that are left at the end."""
        rest = self._held.take(slice(self._next, None))
        self._next = len(self._held)
        return rest

    def _find_places(self, count: int) -> NDArray[np.int64]:
        """Return the places of the next rows: those, in order, that no held row has."""
        span = np.arange(self._given, self._given + count + len(self._held) - self._next)
        free = span[~np.isin(span, self._place[self._next :])]
        return free[:count]
