"""The shifts of all sorties from how every two of them lie to each other."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Codes = NDArray[np.int64]


@dataclass(frozen=True, kw_only=True, eq=False)
class Link:
    """Say how one sortie lies to another.

    Attributes
    ----------
    first, second
        Codes of the sorties.
    east, north
        Second minus first, metres.
    variance
        Of that, per axis, square metres.
    support
        How many pairs of sightings carry it.
    worth
        For the choice of a tree.
    votes
        As in ``Peak``.
    """

    first: int
    second: int
    east: float
    north: float
    variance: float
    support: float
    worth: float
    votes: Floats


def solve_network(count: int, links: Sequence[Link]) -> tuple[Floats, Codes]:
    """Return the place of each sortie, shape (count, 2), mean zero within each net, and which net it is part of.

    A tree of the worthiest links gives a start; least squares over all links, weighted by their variances and
    reweighted for residuals after Cauchy (Holland and Welsch, 1977), bring it to the end.
    """
    place, net = _grow_tree(count, links)
    for _ in range(20):
        place = _solve(count, links, place, net)
    return place, net


def _grow_tree(count: int, links: Sequence[Link]) -> tuple[Floats, Codes]:
    place = np.zeros((count, 2))
    net = np.arange(count)
    for link in sorted(links, key=lambda one: (-one.worth, one.first, one.second)):
        a, b = net[link.first], net[link.second]
        if a == b:
            continue
        moved = net == b
        place[moved] += place[link.first] + (link.east, link.north) - place[link.second]
        net[moved] = a
    return _centre(place, net), net


def _centre(place: Floats, net: Codes) -> Floats:
    for code in np.unique(net):
        place[net == code] -= place[net == code].mean(axis=0)
    return place


def _solve(count: int, links: Sequence[Link], place: Floats, net: Codes) -> Floats:
    normal = np.zeros((count, count))
    right = np.zeros((count, 2))
    for link in links:
        offset = np.array([link.east, link.north])
        residual = np.sum((place[link.second] - place[link.first] - offset) ** 2) / (link.variance * 2.385**2)
        weight = 1 / (link.variance * (1 + residual))
        normal[link.first, link.first] += weight
        normal[link.second, link.second] += weight
        normal[link.first, link.second] -= weight
        normal[link.second, link.first] -= weight
        right[link.second] += weight * offset
        right[link.first] -= weight * offset
    for code in np.unique(net):
        members = np.flatnonzero(net == code)
        scale = max(float(normal[members, members].mean()), 1e-9)
        normal[np.ix_(members, members)] += scale
    return np.linalg.solve(normal, right).astype(np.float64)
