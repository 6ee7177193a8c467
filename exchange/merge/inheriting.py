"""Which group goes on with an earlier spot, where sightings of it are in one group or in several."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from exchange.merge.fusing import Fused

Floats = NDArray[np.float64]
Codes = NDArray[np.int64]
Mask = NDArray[np.bool_]

SHARE_TO_COMPETE = 0.5
"""A part of an earlier spot with fewer of its sightings than this share of the largest part is no heir."""

FEWEST_TO_COMPARE = 8
"""So many earlier spots tell how far all places have moved since; fewer may have moved each for itself."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Heirs:
    """Hold the heirs of the earlier spots.

    Attributes
    ----------
    spot, group
        Every couple of an earlier spot and a group that holds sightings of it.
    is_large
        Whether they are enough for the group to be the spot's heir.
    home
        For each earlier spot the group that goes on with it; -1 where nothing is left of it.
    """

    spot: Codes
    group: Codes
    is_large: Mask
    home: Codes


def choose_heirs(group: Codes, known: Codes, distance: Floats) -> Heirs:
    """Return which group goes on with each earlier spot, so that as many as can be go on in a group of their own.

    Where that can be done in several ways the sum of distances is the least: of two parts the nearer.

    Parameters
    ----------
    group
        Of each sighting.
    known
        Earlier spot that the sighting was part of, or -1.
    distance
        Of the sighting's group from that earlier spot, metres; NaN where unknown.
    """
    rows = np.flatnonzero(known >= 0)
    count = int(group.max(initial=-1)) + 1
    couple, first, share = np.unique(known[rows] * count + group[rows], return_index=True, return_counts=True)
    spot, holder = couple // max(count, 1), couple % max(count, 1)
    spots = int(known.max(initial=-1)) + 1
    most = np.zeros(spots, np.int64)
    np.maximum.at(most, spot, share)
    is_large = share >= SHARE_TO_COMPETE * most[spot]
    away = np.nan_to_num(distance[rows[first]], nan=0.0)[is_large]
    home = _assign(spot[is_large], holder[is_large], away, spots, count)
    return Heirs(spot=spot, group=holder, is_large=is_large, home=home)


def measure_distances(group: Codes, known: Codes, fused: Fused, places: Floats, net: Codes) -> Floats:
    """Return how far the group of each known sighting lies from its earlier spot, metres; NaN for the others.

    What all spots of a net moved together is taken off: a sortie more changes what its shifts are measured against.

    Parameters
    ----------
    group, known, net
        Of each sighting: its group, its earlier spot or -1, its net of sorties.
    fused
        The groups.
    places
        Of the earlier spots, metres, shape (spots, 2).
    """
    rows = np.flatnonzero(known >= 0)
    moved = np.column_stack([fused.east, fused.north])[group[rows]] - places[known[rows]]
    moved -= _find_common(moved, known[rows], net[rows])
    distance = np.full(len(known), np.nan)
    distance[rows] = np.hypot(moved[:, 0], moved[:, 1])
    return distance


def _find_common(moved: Floats, known: Codes, net: Codes) -> Floats:
    """Return the median of what the spots of each net have moved, for each row; 0 where few spots tell."""
    common = np.zeros_like(moved)
    order = np.argsort(net, kind="stable")
    for rows in np.split(order, np.flatnonzero(np.diff(net[order])) + 1):
        if len(np.unique(known[rows])) >= FEWEST_TO_COMPARE:
            common[rows] = np.median(moved[rows], axis=0)
    return common


def _assign(spot: Codes, holder: Codes, away: Floats, spots: int, groups: int) -> Codes:
    """Return the home of each spot; those left over by the assignment share the nearest with another."""
    home = np.full(spots, -1)
    order = np.lexsort((holder, away, spot))
    nearest, first = np.unique(spot[order], return_index=True)
    home[nearest] = holder[order[first]]
    contested = np.bincount(home[nearest], minlength=groups) > 1
    has_choice = np.bincount(spot, minlength=spots) > 1
    if not np.any(contested[holder] & has_choice[spot]):
        return home
    for some in _split_connected(spot, holder, spots, groups):
        if contested[holder[some]].any():
            _assign_some(home, spot[some], holder[some], away[some])
    return home


def _split_connected(spot: Codes, holder: Codes, spots: int, groups: int) -> list[Codes]:
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    graph = coo_array((np.ones(len(spot), np.int8), (spot, spots + holder)), shape=(spots + groups,) * 2)
    code = connected_components(graph, directed=False)[1][spot]
    order = np.argsort(code, kind="stable")
    return np.split(order, np.flatnonzero(np.diff(code[order])) + 1)


def _assign_some(home: Codes, spot: Codes, holder: Codes, away: Floats) -> None:
    from scipy.optimize import linear_sum_assignment

    spots, line = np.unique(spot, return_inverse=True)
    groups, column = np.unique(holder, return_inverse=True)
    # To stay without a group of one's own costs more than all distances together.
    cost = np.full((len(spots), len(groups)), 1.0 + away.sum())
    cost[line, column] = away
    is_couple = np.zeros(cost.shape, bool)
    is_couple[line, column] = True
    lines, columns = linear_sum_assignment(cost)
    kept = is_couple[lines, columns]
    home[spots[lines[kept]]] = groups[columns[kept]]
