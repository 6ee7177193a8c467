"""The number of each spot: kept where an earlier list knows it, new otherwise, never used twice."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from exchange.merge.inheriting import Heirs, choose_heirs
from exchange.model.detections import Detections
from exchange.model.spot_number import ALIASES, join_aliases, read_counts, split_aliases, write_numbers

Floats = NDArray[np.float64]
Codes = NDArray[np.int64]


@dataclass(frozen=True, kw_only=True, eq=False)
class Numbering:
    """Hold the numbers of the groups.

    Attributes
    ----------
    number
        Of each group.
    aliases
        Of each group, joined.
    keeper
        Row of the earlier list whose number a group has; -1 where the number is new.
    joined
        Whether several earlier spots turned out to be the one.
    divided
        Whether an earlier spot turned out to be this and another.
    sibling
        For a divided group the number of another part; else empty.
    """

    number: list[str]
    aliases: list[str]
    keeper: Codes
    joined: NDArray[np.bool_]
    divided: NDArray[np.bool_]
    sibling: list[str]


def number_spots(
    group: Codes,
    known: Codes,
    distance: Floats,
    earlier: Detections,
    new_order: Codes,
    series: str,
    *,
    after_count: int = 0,
) -> Numbering:
    """Return the numbers of all groups.

    A number goes to one of the groups that hold a large share of its sightings, as ``choose_heirs`` tells. Where
    several numbers come to one group, the oldest stands and the others become its aliases. A group to which no number
    comes gets the next.

    Parameters
    ----------
    group
        Of each sighting, from 0 without gaps.
    known
        Row of the earlier list that the sighting was part of, or -1.
    distance
        Of the sighting's group from that earlier spot, metres; NaN where unknown.
    earlier
        The earlier list; may be empty.
    new_order
        The groups in the order in which new numbers are given.
    series
        Of new numbers.
    after_count
        New numbers begin after this count, and after those of the earlier list.
    """
    count = len(new_order)
    heirs = choose_heirs(group, known, distance)
    home = heirs.home
    age = _rank_age(earlier, series)
    keeper = np.full(count, -1)
    for row in sorted(np.flatnonzero(home >= 0).tolist(), key=lambda one: age[one], reverse=True):
        keeper[home[row]] = row
    number = _write(keeper, earlier, new_order, series, after_count)
    folded: dict[int, list[str]] = {}
    for row in sorted(np.flatnonzero(home >= 0).tolist(), key=lambda one: age[one]):
        _fold(folded.setdefault(int(home[row]), []), earlier, row, own=keeper[home[row]] == row)
    joined = np.bincount(home[home >= 0], minlength=count) > 1
    divided, sibling = _find_divided(heirs, keeper, number)
    aliases = [""] * count
    for index, names in folded.items():
        aliases[index] = join_aliases(names)
    return Numbering(number=number, aliases=aliases, keeper=keeper, joined=joined, divided=divided, sibling=sibling)


def _rank_age(earlier: Detections, series: str) -> list[tuple[int, int]]:
    """Return for each row a key that sorts the older before the younger: by count, foreign numbers last by row."""
    counts = read_counts(earlier.id, series)
    largest = int(counts.max(initial=0)) + 1
    return [(count or largest, row) for row, count in enumerate(counts.tolist())]


def _fold(aliases: list[str], earlier: Detections, row: int, *, own: bool) -> None:
    column = earlier.extra.get(ALIASES)
    if not own:
        aliases.append(earlier.id[row])
    if column is not None:
        aliases += split_aliases(column[row] or "")


def _write(keeper: Codes, earlier: Detections, new_order: Codes, series: str, after_count: int) -> list[str]:
    column = earlier.extra.get(ALIASES)
    folded = [alias for text in ([] if column is None else column.tolist()) for alias in split_aliases(text or "")]
    last = int(read_counts([*earlier.id.tolist(), *folded], series).max(initial=after_count))
    fresh = new_order[keeper[new_order] < 0]
    number = np.empty(len(keeper), object)
    number[fresh] = write_numbers(last + 1 + np.arange(len(fresh)), series)
    kept = keeper >= 0
    number[kept] = earlier.id[keeper[kept]]
    return list(number.tolist())


def _find_divided(heirs: Heirs, keeper: Codes, number: list[str]) -> tuple[NDArray[np.bool_], list[str]]:
    """Return which groups are parts of a divided spot, and another part's number: a large part, or a new spot."""
    divided = np.zeros(len(keeper), bool)
    sibling = [""] * len(keeper)
    stays = heirs.home[heirs.spot]
    for part in np.flatnonzero((stays != heirs.group) & (heirs.is_large | (keeper[heirs.group] < 0))).tolist():
        one, other = int(stays[part]), int(heirs.group[part])
        divided[[one, other]] = True
        sibling[other], sibling[one] = number[one], number[other]
    return divided, sibling
