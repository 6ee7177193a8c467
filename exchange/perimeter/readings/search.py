"""The reading of least cost, and the best one that differs from it notably."""

from __future__ import annotations

import itertools
from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

from exchange.perimeter.readings.cost import Pricing

Flags = NDArray[np.bool_]

_EXHAUSTIVE = 8


def find_least(pricing: Pricing, starts: Iterable[Flags]) -> list[tuple[float, Flags]]:
    """Return readings that no flip of one cell or of two neighbours makes cheaper, the cheapest first."""
    count = int(pricing.passes.sides.max()) + 1
    found: dict[bytes, tuple[float, Flags]] = {}
    every = list(starts)
    if count - 1 <= _EXHAUSTIVE:
        every = [
            np.r_[False, [bool(number >> bit & 1) for bit in range(count - 1)]] for number in range(1, 1 << (count - 1))
        ]
        for fire in every:
            found[fire.tobytes()] = (pricing.price(fire), fire)
        return sorted(found.values(), key=lambda pair: (pair[0], pair[1].tobytes()))
    moves = _find_moves(pricing, count)
    for fire in every:
        cost, fire = pricing.price(fire), fire.copy()
        left = len(moves)
        for move in itertools.cycle(moves):
            fire[list(move)] ^= True
            tried = pricing.price(fire) if fire.any() else np.inf
            if tried < cost - 1e-9:
                cost, left = tried, len(moves)
                continue
            fire[list(move)] ^= True
            left -= 1
            if not left:
                break
        found[fire.tobytes()] = (cost, fire)
    return sorted(found.values(), key=lambda pair: (pair[0], pair[1].tobytes()))


def _find_moves(pricing: Pricing, count: int) -> list[tuple[int, ...]]:
    """Return the cells that are flipped at once: single ones, neighbours, and what one line or the links part."""
    passes = pricing.passes
    pairs = np.unique(np.sort(passes.sides, axis=1), axis=0)
    moves = {(cell,) for cell in range(1, count)} | {tuple(pair) for pair in pairs.tolist() if 0 < pair[0] < pair[1]}
    line_of = passes.line_of
    lines = [line_of == line for line in range(passes.links)] + [line_of >= passes.links]
    for is_removed in lines:
        moves |= _merge_across(passes.sides, is_removed, count)
    return sorted(moves, key=lambda cells: (len(cells), cells))


def _merge_across(sides: NDArray[np.int64], is_removed: Flags, count: int) -> set[tuple[int, ...]]:
    """Return the groups of cells that are one when some passes are taken away."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    # A border that other passes run along as well stays.
    kept = {tuple(pair) for pair in np.sort(sides[~is_removed], axis=1).tolist()}
    gone = [pair for pair in np.sort(sides[is_removed], axis=1).tolist() if tuple(pair) not in kept and pair[0] > 0]
    if not gone:
        return set()
    first, second = np.array(gone).T
    _, group = connected_components(
        coo_array((np.ones(len(gone)), (first, second)), shape=(count, count)), directed=False
    )
    groups = (np.flatnonzero(group == number) for number in np.unique(group[np.r_[first, second]]))
    return {tuple(cells.tolist()) for cells in groups if len(cells) > 1}
