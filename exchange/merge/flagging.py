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
SEEN_ONCE = "seen once only"
NO_POSITION = "no position"
TOLD_TWICE = "says the same as another row"


def flag_spots(work: Work) -> dict[int, list[str]]:
    """Return the flags of each group that has any."""
    flags: dict[int, list[str]] = {}
    for text, mask in (
        (JOINED, work.numbering.joined),
        (DIVIDED, work.numbering.divided),
        (AMBIGUOUS, work.grouping.is_ambiguous),
        (UNSHIFTED, _mark_unshifted(work)),
    ):
        for index in np.flatnonzero(mask).tolist():
            flags.setdefault(index, []).append(text)
    for index in np.flatnonzero(work.numbering.divided).tolist():
        flags[index].append(f"see also {work.numbering.sibling[index]}")
    for index, alternatives in work.grouping.alternatives.items():
        flags.setdefault(index, []).extend(f"may be one with {work.numbering.number[other]}" for other in alternatives)
    return flags


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
