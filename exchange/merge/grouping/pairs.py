"""Pairs of sightings that may be one spot, and the islands they form."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Codes = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Pairs:
    """Hold pairs ``first < second`` of sightings and how far they are apart, squared.

    Attributes
    ----------
    first, second
        Rows, shape (n,).
    square
        Squared distance: square metres, or normalised by the variances of both.
    """

    first: Codes
    second: Codes
    square: Floats

    def __len__(self) -> int:
        """Return the number of pairs."""
        return len(self.first)

    def take(self, chosen: NDArray[np.bool_]) -> Pairs:
        """Return some of the pairs."""
        return Pairs(self.first[chosen], self.second[chosen], self.square[chosen])


def find_pairs_within(east: Floats, north: Floats, image: Codes, within_m: float) -> Pairs:
    """Return all pairs at most ``within_m`` apart that are not of one image, with squared metres."""
    first, second, square = find_near(east, north, within_m)
    apart = image[first] != image[second]
    return Pairs(first[apart], second[apart], square[apart])


def find_pairs_by_accuracy(east: Floats, north: Floats, variance: Floats, image: Codes, gate: float) -> Pairs:
    """Return all pairs not of one image whose normalised squared distance is at most ``gate``.

    The squared distance of two sightings of one spot over the sum of their variances per axis is chi-square with
    2 degrees of freedom.
    """
    if not len(east):
        return Pairs(*_no_pairs())
    first, second, square = find_near(east, north, float(np.sqrt(2 * gate * variance.max())))
    square = square / (variance[first] + variance[second])
    near = (square <= gate) & (image[first] != image[second])
    return Pairs(first[near], second[near], square[near])


def find_islands(count: int, pairs: Pairs) -> Codes:
    """Return the island of each of ``count`` sightings: the connected components of the pairs."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    graph = coo_array((np.ones(len(pairs), np.int8), (pairs.first, pairs.second)), shape=(count, count))
    island: Codes = connected_components(graph, directed=False)[1].astype(np.int64)
    return island


def find_near(east: Floats, north: Floats, within_m: float) -> tuple[Codes, Codes, Floats]:
    """Return the rows of all pairs at most ``within_m`` apart, the lower row first, and their squared metres."""
    from scipy.spatial import cKDTree

    if len(east) < 2:
        return _no_pairs()
    tree = cKDTree(np.column_stack([east, north]), balanced_tree=False, compact_nodes=False)
    # The tree rounds differently from the sum of squares below, which decides.
    found = tree.query_pairs(within_m * (1 + 1e-9), output_type="ndarray")
    # In the order of rows and not of the tree, so that sums over pairs are the same whatever else is in the tree.
    found = found[np.argsort(found[:, 0] * len(east) + found[:, 1])]
    first, second = found[:, 0], found[:, 1]
    square = (east[first] - east[second]) ** 2 + (north[first] - north[second]) ** 2
    near = square <= within_m**2
    return first[near], second[near], square[near]


def _no_pairs() -> tuple[Codes, Codes, Floats]:
    return np.empty(0, np.int64), np.empty(0, np.int64), np.empty(0)
