"""Which sorties are compared with which, in blocks that know nothing of each other."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from exchange.merge.distinct import find_distinct
from exchange.merge.shifts.differences import Couple, Seen, find_neighbours, measure_differences, take_warmth
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
        All sightings of these sorties, in their order, without the names of all the others.
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
    part = block.part
    codes = _list_sorties(block.partners)
    rows = split_by_sortie(np.searchsorted(codes, part.sortie), len(codes))
    places = np.column_stack([part.east, part.north])
    seen = {code: Seen.of(own, places, part.key) for code, own in zip(codes, rows, strict=True)}
    found = [one for second, firsts in block.partners for one in _compare(second, firsts, seen, places, part.key)]
    if not found:
        return Links.join([])
    first, second, couples = zip(*found, strict=True)
    differences = measure_differences(couples, places, take_warmth(part.temperature, rows))
    return find_links(differences, np.array(first), np.array(second))


def link_places(voters: Floats, others: Floats) -> Links:
    """Return how some places lie to others, both metres, shape (n, 2); one link, or none."""
    places = np.vstack([others, voters])
    lot = np.arange(len(places), dtype=np.uint64)
    first, second = (Seen.of(rows, places, lot) for rows in np.split(np.arange(len(places)), [len(others)]))
    couple = find_neighbours(first, second, most=len(voters))
    if not couple.voters:
        return Links.join([])
    differences = measure_differences([couple], places, np.full(len(places), np.nan))
    return find_links(differences, np.zeros(1, np.int64), np.ones(1, np.int64))


def _list_sorties(partners: Sequence[tuple[int, tuple[int, ...]]]) -> list[int]:
    return sorted({code for second, firsts in partners for code in (second, *firsts)})


def _compare(
    second: int, firsts: Sequence[int], seen: Mapping[int, Seen], places: Floats, lot: NDArray[np.uint64]
) -> Iterator[tuple[int, int, Couple]]:
    """Yield what a sortie has in common with the earlier ones with which that is most, and anything."""
    own = seen[second]
    if len(own.rows) > MOST_CANDIDATES:
        own = Seen.of(np.sort(own.rows[np.argsort(own.lot, kind="stable")[:MOST_CANDIDATES]]), places, lot)
    found = {first: find_neighbours(seen[first], own) for first in firsts}
    chosen = sorted(found, key=lambda first: (-found[first].voters, first))[:MOST_PARTNERS]
    yield from ((first, second, found[first]) for first in sorted(chosen) if found[first].voters)


def _cut_blocks(part: Sightings) -> Iterator[Block]:
    count = len(part.sortie_names)
    partners = _find_partners(find_cells(part.east, part.north, CELL_M), part.sortie, count)
    rows = split_by_sortie(part.sortie, count)
    nameless = replace(part, sortie_names=())
    waiting: list[tuple[int, tuple[int, ...]]] = []
    for second, firsts in enumerate(partners):
        if firsts:
            waiting.append((second, tuple(firsts)))
        if waiting and (second == count - 1 or sum(len(one) for _, one in waiting) >= COUPLES_AT_A_TIME):
            chosen = np.concatenate([rows[code] for code in _list_sorties(waiting)])
            yield Block(nameless.take(np.sort(chosen)), tuple(waiting))
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
