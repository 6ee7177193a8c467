"""Keep every report once: add new notes to those that are known already."""

from __future__ import annotations

from collections import Counter
from collections.abc import Hashable
from pathlib import PurePath

import numpy as np
from numpy.typing import NDArray

from exchange.formats.values import to_texts
from exchange.model import StatusNotes
from exchange.model.columns import TextColumn
from exchange.status.place import RETURNED_NAME
from exchange.status.returned import RETURNED_SIGNS

Key = tuple[Hashable, ...]


def add_notes(known: StatusNotes, new: StatusNotes) -> StatusNotes:
    """Return all notes, each report once: one that came in the same file before is not added again.

    A report is known again by its file, name, place, time, author, text and signs, not by what was made of them; two
    rows of one file that agree in all are two reports. Where a known report had no spot or no status and has one now,
    the new one takes its place.

    Parameters
    ----------
    known
        What was reported before.
    new
        What came back now.
    """
    if not len(known) or not len(new):
        return StatusNotes.join([part for part in (known, new) if len(part)])
    known_keys, new_keys = _keys(known), _keys(new)
    place = {key: row for row, key in enumerate(known_keys)}
    twins = np.array([_find_twin(place, key) for key in new_keys], np.int64)
    is_better = (twins >= 0) & (_gains(known.detection, new.detection, twins) | _gains(known.status, new.status, twins))
    kept = np.ones(len(known), np.bool_)
    kept[twins[is_better]] = False
    return StatusNotes.join([known.take(kept), new.take((twins < 0) | is_better)])


def _gains(known: TextColumn, new: TextColumn, twins: NDArray[np.int64]) -> NDArray[np.bool_]:
    return np.asarray((known[twins] == "") & (new != ""))


def _find_twin(place: dict[Key, int], key: Key) -> int:
    # A note that names no file may have come in any.
    return place.get(key, place.get(("", *key[1:]), -1))


def _texts(notes: StatusNotes, name: str) -> TextColumn:
    column = notes.extra.get(name)
    return np.full(len(notes), "", dtype=object) if column is None else to_texts(column)


def _keys(notes: StatusNotes) -> list[Key]:
    """Return what each report is known again by; equal ones of one file are counted."""
    name, signs = (_texts(notes, column) for column in (RETURNED_NAME, RETURNED_SIGNS))
    status = np.array([f"status {word}" if word else "" for word in notes.status.tolist()], dtype=object)
    columns = (
        [PurePath(origin).name for origin in notes.origin.tolist()],
        np.where(name != "", name, notes.detection).tolist(),
        np.where(signs != "", signs, status).tolist(),
        notes.time.astype(np.int64).tolist(),
        notes.author.tolist(),
        notes.text.tolist(),
        [repr(value) for value in notes.longitude.tolist()],
        [repr(value) for value in notes.latitude.tolist()],
    )
    counted: Counter[Key] = Counter()
    keys = []
    for key in zip(*columns, strict=True):
        keys.append((*key, counted[key]))
        counted[key] += 1
    return keys
