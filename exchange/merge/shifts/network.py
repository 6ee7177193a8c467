"""The shifts of all sorties from how every two of them lie to each other."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Codes = NDArray[np.int64]


_ROUNDS = 10
_CAUCHY = 2.385


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
    of_net: dict[int, list[Link]] = {}
    for link in links:
        of_net.setdefault(int(net[link.first]), []).append(link)
    order = np.argsort(net, kind="stable")
    begins = np.searchsorted(net[order], np.arange(count + 1))
    for code, own in of_net.items():
        members = order[begins[code] : begins[code + 1]]
        for _ in range(_ROUNDS):
            place[members] = _solve(members, own, place)
    return place, net


def find_nets(count: int, links: Sequence[Link]) -> Codes:
    """Return which net each of ``count`` sorties is part of, as ``solve_network`` tells."""
    return _grow_tree(count, links)[1]


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
    size = np.maximum(np.bincount(net, minlength=len(net)), 1)
    mean = np.column_stack([np.bincount(net, column, minlength=len(net)) / size for column in place.T])
    return np.asarray(place - mean[net])


def _solve(members: Codes, links: Sequence[Link], place: Floats) -> Floats:
    """Return the places of the members of one net by one round of weighted least squares, mean zero."""
    at = {int(member): index for index, member in enumerate(members)}
    normal = np.zeros((len(members), len(members)))
    right = np.zeros((len(members), 2))
    for link in links:
        offset = np.array([link.east, link.north])
        residual = np.sum((place[link.second] - place[link.first] - offset) ** 2) / (link.variance * _CAUCHY**2)
        weight = 1 / (link.variance * (1 + residual))
        a, b = at[link.first], at[link.second]
        normal[a, a] += weight
        normal[b, b] += weight
        normal[a, b] -= weight
        normal[b, a] -= weight
        right[b] += weight * offset
        right[a] -= weight * offset
    # The same to all: places of mean zero are the solution that this adds nothing to.
    normal += max(float(normal.trace()) / len(members), 1e-9)
    return np.linalg.solve(normal, right).astype(np.float64)
