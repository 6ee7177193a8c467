"""Which sortie a sighting belongs to, where its row names none."""

from __future__ import annotations

from pathlib import PurePath
from typing import Literal, get_args

import numpy as np

from exchange.errors import OptionError
from exchange.merge.distinct import mark_changes
from exchange.merge.keys import code_texts
from exchange.model.detections import Detections
from exchange.model.problem import Problem

SortieFrom = Literal["file", "folder", "layer"]

CHOICES: tuple[SortieFrom, ...] = get_args(SortieFrom)
"""What names the sortie of rows that name none: their file, the folder it lies in, or the file's own top layer."""


def name_sorties(sightings: Detections, *, sortie_from: SortieFrom = "file") -> tuple[Detections, tuple[Problem, ...]]:
    """Return the sightings with a sortie each, and what was assumed.

    Two sightings of one sortie are one spot only where images overlap, so it matters that no two sorties are taken
    for one. Where one file holds the sightings of several aircraft, the aircraft is part of the name.

    Parameters
    ----------
    sightings
        As they were read.
    sortie_from
        One of ``CHOICES``.

    Raises
    ------
    OptionError
        When ``sortie_from`` is none of them.
    """
    if sortie_from not in CHOICES:
        raise OptionError(
            f"{sortie_from!r} names no sortie", field="--sortie-from", remedy=f"Use {', '.join(CHOICES)}."
        )
    unnamed = np.flatnonzero(sightings.sortie == "")
    if not len(unnamed):
        return sightings, ()
    names = [_name_place(*place, sortie_from) for place in sightings.source.places]
    aircraft, crafts = code_texts(sightings.aircraft[unnamed])
    place = sightings.source.code[unnamed].astype(np.int64)
    couples, first, which, count = np.unique(
        place * len(crafts) + aircraft, return_index=True, return_inverse=True, return_counts=True
    )
    told = [f"{names[couple // len(crafts)]} {crafts[couple % len(crafts)]}".strip() for couple in couples.tolist()]
    sortie = sightings.sortie.copy()
    sortie[unnamed] = np.array(told, object)[which]
    begins = np.flatnonzero(mark_changes(couples // len(crafts)))
    rows = unnamed[np.minimum.reduceat(first, begins)].tolist()
    counts = np.add.reduceat(count, begins).tolist()
    problems = [_tell(sightings, row, many, sortie) for row, many in zip(rows, counts, strict=True)]
    return sightings.replace(sortie=sortie), tuple(problems)


def _name_place(file: str, layer: str, sortie_from: SortieFrom) -> str:
    path = PurePath(file)
    if sortie_from == "layer" and layer:
        return layer.split("/")[0]
    return path.parent.name or path.stem if sortie_from == "folder" else path.stem


def _tell(sightings: Detections, row: int, count: int, sortie: np.ndarray[tuple[int], np.dtype[np.object_]]) -> Problem:
    return Problem.at(
        sightings.source[row],
        f"no sortie is named; it is taken as sortie {sortie[row]!r}",
        severity="note",
        remedy="State it with --sortie, or say with --sortie-from what names it.",
        count=count,
    )
