"""The shifts of all sorties from how every two of them lie to each other."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Codes = NDArray[np.int64]
Mask = NDArray[np.bool_]

_ROUNDS = 10
_CAUCHY = 2.385


@dataclass(frozen=True, kw_only=True, eq=False)
class Links:
    """Say how some sorties lie to others, one row a couple.

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
        As in ``Peaks``.
    """

    first: Codes
    second: Codes
    east: Floats
    north: Floats
    variance: Floats
    support: Floats
    worth: Floats
    votes: NDArray[np.float32]

    def __len__(self) -> int:
        """Return the number of couples."""
        return len(self.first)

    def take(self, rows: Mask | Codes) -> Links:
        """Return some of the rows."""
        return Links(**{field.name: getattr(self, field.name)[rows] for field in fields(Links)})

    @classmethod
    def join(cls, parts: Sequence[Links]) -> Links:
        """Return the rows of several, end to end; no parts make none."""
        if not parts:
            none, no_codes = np.empty(0), np.empty(0, np.int64)
            parts = [cls(first=no_codes, second=no_codes, east=none, north=none, variance=none, support=none,
                         worth=none, votes=np.empty((0, 1, 1), np.float32))]  # fmt: skip
        return cls(**{field.name: np.concatenate([getattr(one, field.name) for one in parts]) for field in fields(cls)})


def solve_network(count: int, links: Links) -> tuple[Floats, Codes]:
    """Return the place of each sortie, shape (count, 2), mean zero within each net, and which net it is part of.

    A tree of the worthiest links gives a start; least squares over all links, weighted by their variances and
    reweighted for residuals after Cauchy (Holland and Welsch, 1977), bring it to the end.
    """
    place, net = _grow_tree(count, links)
    order = np.argsort(net, kind="stable")
    size = np.bincount(net, minlength=count)
    at = np.empty(count, np.int64)
    at[order] = np.arange(count) - (np.cumsum(size) - size)[net[order]]
    for members in np.unique(size[net[links.first]]).tolist():
        rows = order[size[net[order]] == members].reshape(-1, members)
        matrix = np.searchsorted(net[rows[:, 0]], net[links.first])
        own = np.flatnonzero(size[net[links.first]] == members)
        _settle(place, rows, links.take(own), matrix[own], at)
    return place, net


def find_nets(count: int, links: Links) -> Codes:
    """Return which net each of ``count`` sorties is part of, as ``solve_network`` tells."""
    return _grow_tree(count, links)[1]


def _grow_tree(count: int, links: Links) -> tuple[Floats, Codes]:
    place = np.zeros((count, 2))
    net = np.arange(count)
    members = {code: [code] for code in range(count)}
    offset = np.column_stack([links.east, links.north])
    for row in np.lexsort((links.second, links.first, -links.worth)).tolist():
        first, second = links.first[row], links.second[row]
        a, b = int(net[first]), int(net[second])
        if a == b:
            continue
        moved = members.pop(b)
        place[moved] += place[first] + offset[row] - place[second]
        net[moved] = a
        members[a] += moved
    return _centre(place, net), net


def _centre(place: Floats, net: Codes) -> Floats:
    size = np.maximum(np.bincount(net, minlength=len(net)), 1)
    mean = np.column_stack([np.bincount(net, column, minlength=len(net)) / size for column in place.T])
    return np.asarray(place - mean[net])


def _settle(place: Floats, rows: Codes, links: Links, net: Codes, at: Codes) -> None:
    """Bring the places of nets of one size to the least squares of their links.

    Parameters
    ----------
    place
        Of all sorties; changed.
    rows
        The sorties of each net, shape (nets, members).
    links, net
        The links of these nets, and the row of ``rows`` that each is of.
    at
        Column of ``rows`` of each sortie.
    """
    members = rows.shape[1]
    a, b = at[links.first], at[links.second]
    # In the order of the links, so that a net alone gives the same sums as among others.
    corners = np.column_stack([a * members + a, b * members + b, a * members + b, b * members + a])
    cells = net[:, None] * members**2 + corners
    sides = net[:, None] * members + np.column_stack([b, a])
    offset = np.column_stack([links.east, links.north])
    for _ in range(_ROUNDS):
        residual = np.sum((place[links.second] - place[links.first] - offset) ** 2, axis=1)
        weight = 1 / (links.variance * (1 + residual / (links.variance * _CAUCHY**2)))
        signed = weight[:, None] * [1.0, 1.0, -1.0, -1.0]
        normal = np.bincount(cells.ravel(), signed.ravel(), minlength=len(rows) * members**2)
        normal = normal.reshape(len(rows), members, members)
        right = np.stack([_add(sides, weight * one, rows.size) for one in offset.T], axis=-1).reshape(*rows.shape, 2)
        # The same to all: places of mean zero are the solution that this adds nothing to.
        normal += np.maximum(np.trace(normal, axis1=1, axis2=2) / members, 1e-9)[:, None, None]
        place[rows] = np.linalg.solve(normal, right)


def _add(sides: Codes, pull: Floats, count: int) -> Floats:
    return np.asarray(np.bincount(sides.ravel(), np.column_stack([pull, -pull]).ravel(), minlength=count), np.float64)
