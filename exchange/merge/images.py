"""Which sightings were taken in one image, and so cannot be one spot."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from exchange.merge.keys import Bits, code_texts, hash_texts, mix
from exchange.model.columns import ForeignColumn
from exchange.model.detections import Detections

Codes = NDArray[np.int64]

IMAGE_WORDS = ("image", "image_name", "image_file", "photo", "photo_name", "picture", "frame", "imagen", "foto")
"""Plain words by which a foreign column is known to name the image. Files name it differently, so each row takes the
first of them that it has."""

_WHOLE_MINUTE_MS = 60_000
_TOO_MANY_AT_ONE_INSTANT = 0.5


def find_images(table: Detections, placed: Codes, sortie: Codes) -> tuple[Codes, Bits]:
    """Return a code per row, shared by the sightings of one image, and bits that stand for the image's name.

    One image is one name in an image column within one sortie, or else one instant of one sortie. Times that are
    all whole minutes, or mostly one and the same, tell no image. A row that tells neither is an image of its own, and
    its code is negative.

    Parameters
    ----------
    table
        Sightings.
    placed
        Rows that take part.
    sortie
        Code of the sortie of each of them.
    """
    named, name_bits = _code_names(table, placed)
    instant = _code_instants(table.time[placed], sortie)
    own = np.arange(len(placed))
    within = np.where(named >= 0, named, np.where(instant >= 0, instant, own))
    kind = np.where(named >= 0, 0, np.where(instant >= 0, 1, 2))
    code = mix(mix(within.astype(np.uint64)) + (sortie * 3 + kind).astype(np.uint64)) >> np.uint64(1)
    return np.where(kind == 2, ~code.astype(np.int64), code.astype(np.int64)), name_bits


def _code_names(table: Detections, placed: Codes) -> tuple[Codes, Bits]:
    columns = _find_columns(table)
    if not columns:
        return np.full(len(placed), -1), np.zeros(len(placed), np.uint64)
    texts = _to_texts(columns[0][placed])
    for column in columns[1:]:
        left = np.flatnonzero(texts == "")
        texts[left] = _to_texts(column[placed[left]])
    code, names = code_texts(texts)
    empty = np.array([not name for name in names], bool)
    return np.where(empty[code], -1, code), hash_texts(names)[code]


def _find_columns(table: Detections) -> list[ForeignColumn]:
    found = [(IMAGE_WORDS.index(word), name) for name in table.extra if (word := _to_word(name)) in IMAGE_WORDS]
    return [table.extra[name] for _, name in sorted(found)]


def _to_word(name: str) -> str:
    return name.lower().replace(" ", "_")


def _to_texts(column: ForeignColumn) -> NDArray[np.object_]:
    return np.array(["" if value is None else str(value) for value in column.tolist()] or [], dtype=object)


def _code_instants(time: NDArray[np.datetime64], sortie: Codes) -> Codes:
    instant = time.astype(np.int64)
    known = ~np.isnat(time)
    if not known.any():
        return np.full(len(time), -1)
    known &= ~_tell_no_image(instant[known], sortie[known], int(sortie.max()) + 1)[sortie]
    return np.where(known, instant, -1)


def _tell_no_image(instant: Codes, sortie: Codes, sorties: int) -> NDArray[np.bool_]:
    """Return the sorties whose times are all whole minutes, or mostly one and the same."""
    total = np.bincount(sortie, minlength=sorties)
    uneven = np.bincount(sortie, instant % _WHOLE_MINUTE_MS != 0, minlength=sorties)
    order = np.lexsort((instant, sortie))
    begin = np.flatnonzero(np.concatenate([[True], (np.diff(sortie[order]) != 0) | (np.diff(instant[order]) != 0)]))
    size = np.diff(np.append(begin, len(order)))
    most = np.zeros(sorties, np.int64)
    np.maximum.at(most, sortie[order[begin]], size)
    return np.asarray((total >= 3) & ((uneven == 0) | (most > _TOO_MANY_AT_ONE_INSTANT * total)))
