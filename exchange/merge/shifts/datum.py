"""What the shifts are measured against: control, the earlier list, or for want of both their own mean."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from exchange.merge.shifts.differences import REACH_M
from exchange.merge.shifts.linking import link_places
from exchange.merge.sightings import Sightings

Floats = NDArray[np.float64]
Codes = NDArray[np.int64]
Mask = NDArray[np.bool_]


@dataclass(frozen=True, kw_only=True, eq=False)
class Datum:
    """Hold the places of the sorties once they are measured against something.

    Attributes
    ----------
    place
        How far each sortie lies off, metres, shape (sorties, 2).
    is_fixed
        Which sorties are measured against control or the earlier list.
    error
        Standard error per axis of what fixes each sortie, metres; 0 where nothing does.
    """

    place: Floats
    is_fixed: Mask
    error: Floats


def centre_nets(place: Floats, net: Codes) -> Datum:
    """Return the places with mean zero within each net: only how the sorties lie to each other is known."""
    size = np.maximum(np.bincount(net), 1)
    mean = np.column_stack([np.bincount(net, column) / size for column in place.T])
    return Datum(place=place - mean[net], is_fixed=np.zeros(len(net), bool), error=np.zeros(len(net)))


def hold_sortie(place: Floats, net: Codes, held: int) -> Datum:
    """Return the places measured against one sortie, where its net reaches; the others have mean zero."""
    datum = centre_nets(place, net)
    mine = net == net[held]
    datum.place[mine] -= datum.place[held]
    return Datum(place=datum.place, is_fixed=mine, error=np.zeros(len(net)))


def hold_control(sightings: Sightings, place: Floats, net: Codes, control: Floats) -> Datum:
    """Return the places measured against control points, where enough of them are found again.

    All sightings of a net vote together, brought to the same place first.

    Parameters
    ----------
    sightings
        Of all sorties.
    place, net
        How the sorties of each net lie to each other, metres.
    control
        Metres, shape (n, 2).
    """
    datum = centre_nets(place, net)
    is_fixed, error = datum.is_fixed.copy(), datum.error.copy()
    for code in _find_near_nets(sightings, net, control):
        mine = net == code
        rows = np.flatnonzero(mine[sightings.sortie])
        seen = np.column_stack([sightings.east, sightings.north])[rows] - datum.place[sightings.sortie[rows]]
        links = link_places(control, seen)
        if len(links):
            # The control votes: what it lies off the sightings is what these lie off it, turned round.
            datum.place[mine] -= (links.east[0], links.north[0])
            is_fixed |= mine
            error[mine] = np.sqrt(links.variance[0])
    return Datum(place=datum.place, is_fixed=is_fixed, error=error)


def _find_near_nets(sightings: Sightings, net: Codes, control: Floats) -> list[int]:
    from scipy.spatial import cKDTree

    places = np.column_stack([sightings.east, sightings.north])
    near = np.isfinite(cKDTree(control).query(places, distance_upper_bound=2 * REACH_M)[0])
    return [int(code) for code in np.unique(net[sightings.sortie[near]])]
