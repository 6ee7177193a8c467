"""Which sorties are compared with which, in blocks that know nothing of each other."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from exchange.merge.distinct import find_distinct
from exchange.merge.shifts.differences import Differences, Seen, measure_differences
from exchange.merge.shifts.network import Links
from exchange.merge.shifts.refining import find_links
from exchange.merge.sightings import CELL_M, Sightings, find_cells, split_by_sortie

Floats = NDArray[np.float64]
Codes = NDArray[np.int64]

MOST_PARTNERS = 6
"""A sortie is compared with so many earlier ones, those it has most in common with; a net needs no more."""

MOST_CANDIDATES = 5_000
"""Of so many sightings of a sortie, chosen by lot, those that vote are taken."""

COUPLES_AT_A_TIME = 64


@dataclass(frozen=True, eq=False)
class Block:
    """Hold what is needed to compare some sorties with others.

    Attributes
    ----------
    part
        All sightings of these sorties, in their order.
    partners
        For each sortie that is compared its code, and the codes of earlier ones that it may be compared with.
    """

    part: Sightings
    partners: tuple[tuple[int, tuple[int, ...]], ...]


Compute = Callable[[Callable[[Block], Links], Iterable[Block]], Iterable[Links]]
"""Gives the answers for some blocks, in their order, as ``map`` does."""


def link_sorties(part: Sightings, *, compute: Compute = map) -> Links:
    """Return how the sorties lie to each other where the evidence carries it.

    Parameters
    ----------
    part
        Sightings of all sorties.
    compute
        What works the blocks out.
    """
    return Links.join([links for links in compute(link_block, _cut_blocks(part)) if len(links)])


def link_block(block: Block) -> Links:
    """Return the links of one block."""
    codes = sorted({code for second, firsts in block.partners for code in (second, *firsts)})
    rows = split_by_sortie(np.searchsorted(codes, block.part.sortie), len(codes))
    seen = {code: _look(block.part, own) for code, own in zip(codes, rows, strict=True)}
    found = [link for second, firsts in block.partners for link in _compare(second, firsts, seen)]
    if not found:
        return Links.join([])
    first, second, differences = zip(*found, strict=True)
    return find_links(Differences.join(differences), np.array(first), np.array(second))


def link_places(voters: Floats, others: Floats) -> Links:
    """Return how some places lie to others, both metres, shape (n, 2); one link, or none."""
    seen = [
        Seen.of(places, np.full(len(places), np.nan), np.arange(len(places), dtype=np.uint64))
        for places in (others, voters)
    ]
    differences = measure_differences(*seen, most=len(voters))
    if not len(differences.couple):
        return Links.join([])
    return find_links(differences, np.zeros(1, np.int64), np.ones(1, np.int64))


def _look(part: Sightings, rows: Codes) -> Seen:
    return Seen.of(np.column_stack([part.east[rows], part.north[rows]]), part.temperature[rows], part.key[rows])


def _compare(second: int, firsts: Sequence[int], seen: dict[int, Seen]) -> Iterator[tuple[int, int, Differences]]:
    """Yield the differences of a sortie from the earlier ones with most in common, those that have any."""
    voters = seen[second].thin(MOST_CANDIDATES)
    found = {first: measure_differences(seen[first], voters) for first in firsts}
    chosen = sorted(found, key=lambda first: (-len(found[first].couple), first))[:MOST_PARTNERS]
    yield from ((first, second, found[first]) for first in sorted(chosen) if len(found[first].couple))


def _cut_blocks(part: Sightings) -> Iterator[Block]:
    count = len(part.sortie_names)
    partners = _find_partners(find_cells(part.east, part.north, CELL_M), part.sortie, count)
    rows = split_by_sortie(part.sortie, count)
    waiting: list[tuple[int, tuple[int, ...]]] = []
    for second, firsts in enumerate(partners):
        if firsts:
            waiting.append((second, tuple(firsts)))
        if waiting and (second == count - 1 or sum(len(one) for _, one in waiting) >= COUPLES_AT_A_TIME):
            codes = sorted({code for second, firsts in waiting for code in (second, *firsts)})
            yield Block(part.take(np.sort(np.concatenate([rows[code] for code in codes]))), tuple(waiting))
            waiting = []


def _find_partners(cell: Codes, sortie: Codes, count: int) -> list[list[int]]:
    """Return for each sortie the earlier ones that have most in common with it, by the cells both are in."""
    from scipy.sparse import coo_array

    if not count:
        return []
    couple = find_distinct(np.unique(cell, return_inverse=True)[1] * count + sortie)
    seen = coo_array((np.ones(len(couple)), (couple % count, couple // count))).tocsr()
    common = (seen @ seen.T).tocoo()
    first, second = common.coords
    earlier = first < second
    first, second, shared = first[earlier], second[earlier], common.data[earlier]
    order = np.lexsort((first, -shared, second))
    begins = np.searchsorted(second[order], np.arange(count + 1)).tolist()
    chosen = first[order].tolist()
    return [chosen[begin:end][: 2 * MOST_PARTNERS] for begin, end in pairwise(begins)]
