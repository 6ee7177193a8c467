"""What a person should look at, in plain words."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from exchange.merge.work import Work

Mask = NDArray[np.bool_]

SEPARATOR = "; "
JOINED = "several earlier spots turned out to be this one"
DIVIDED = "an earlier spot turned out to be several"
HISTORY = (JOINED, DIVIDED)
AMBIGUOUS = "which sightings belong here is not sure"
UNSHIFTED = "seen by a sortie whose shift could not be found"
SEE_ALSO = "see also "
MAY_BE = "may be one with "
NO_POSITION = "no position"
TOLD_TWICE = "says the same as another row"


def flag_spots(work: Work) -> dict[int, list[str]]:
    """Return the flags of each group that has any."""
    flags: dict[int, list[str]] = {}
    numbering, grouping = work.numbering, work.grouping
    _add(flags, numbering.joined, JOINED)
    _add(flags, numbering.divided, DIVIDED)
    for index in np.flatnonzero(numbering.divided).tolist():
        flags[index].append(f"{SEE_ALSO}{numbering.sibling[index]}")
    _add(flags, grouping.is_ambiguous, AMBIGUOUS)
    _add(flags, _mark_unshifted(work), UNSHIFTED)
    for index, others in grouping.alternatives.items():
        flags.setdefault(index, []).extend(f"{MAY_BE}{numbering.number[other]}" for other in others)
    return flags


def _add(flags: dict[int, list[str]], mask: Mask, text: str) -> None:
    for index in np.flatnonzero(mask).tolist():
        flags.setdefault(index, []).append(text)


def flag_sightings(work: Work) -> NDArray[np.object_]:
    """Return the flags of each row that was told, joined."""
    told = work.basis.told
    place = work.part.of_row[:told]
    flags = np.full(told, "", object)
    flags[(place < 0) & ~work.basis.is_contained[:told]] = NO_POSITION
    rows = np.flatnonzero(place >= 0)
    flags[rows[work.part.row[place[rows]] != rows]] = TOLD_TWICE
    unsure = rows[work.grouping.is_unsure[place[rows]]]
    flags[unsure] = np.where(flags[unsure] == "", AMBIGUOUS, flags[unsure] + SEPARATOR + AMBIGUOUS)
    return flags


def _mark_unshifted(work: Work) -> Mask:
    left = work.shifts.left_alone[work.part.sortie]
    shared = np.bincount(work.group) > 0
    return shared & (np.bincount(work.group, left, minlength=len(shared)) > 0)
