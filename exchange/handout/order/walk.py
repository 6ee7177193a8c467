"""A short walk through spots: straight ways over the earth, no ground, no cliff and no river looked at."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from exchange.geo.geodesy import path_length_m
from exchange.handout.order.local_search import find_short_path

MEAN_RADIUS_M = 6_371_008.8  # of the WGS 84 ellipsoid, (2a + b)/3; Moritz, Geodetic Reference System 1980
Floats = NDArray[np.float64]


def find_walk(
    longitude: Floats, latitude: Floats, by_number: NDArray[np.int64], start: tuple[float, float] | None = None
) -> NDArray[np.int64]:
    """Return the rows in the order of a short walk, never longer than in the order given.

    Parameters
    ----------
    longitude, latitude
        Degrees; rows without a position come last.
    by_number
        All rows in the order of the numbers.
    start
        Longitude and latitude to set out from; without one the walk begins at the first of ``by_number``.
    """
    is_placed = np.isfinite(longitude) & np.isfinite(latitude)
    placed, rest = by_number[is_placed[by_number]], by_number[~is_placed[by_number]]
    if not len(placed):
        return rest
    lon, lat = longitude[placed], latitude[placed]
    if start is not None:
        lon, lat = np.append(start[0], lon), np.append(start[1], lat)
    path = find_short_path(_to_space(lon, lat))
    # The search measures straight through a sphere; what counts is the way over the ellipsoid.
    if path_length_m(lon[path], lat[path]) > path_length_m(lon, lat):
        path = np.arange(len(lon))
    ordered = placed[path[1:] - 1] if start is not None else placed[path]
    return np.concatenate([ordered, rest])


def _to_space(longitude: Floats, latitude: Floats) -> Floats:
    """Return places on a sphere in metres, so that the 180th meridian and the poles need no care."""
    east, north = np.radians(longitude), np.radians(latitude)
    unit = np.column_stack([np.cos(north) * np.cos(east), np.cos(north) * np.sin(east), np.sin(north)])
    return unit * MEAN_RADIUS_M
