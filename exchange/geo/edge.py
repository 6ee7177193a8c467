"""How far points lie from the edge of an area, which way the edge is, and on which side of it they are."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from exchange.geo.frame import LocalFrame
from exchange.geo.geodesy import azimuths_degrees, distances_m

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

Floats = NDArray[np.float64]


class EdgeDistance(NamedTuple):
    """Hold where points lie against an edge, one value a point.

    Parameters
    ----------
    distance_m
        Geodesic metres to the nearest point of the edge, islands' edges included; NaN without a position.
    azimuth_degrees
        True azimuth from the point to there, clockwise from north; NaN without a position.
    is_inside
        Whether the point lies in the area; an island is not in it.
    """

    distance_m: Floats
    azimuth_degrees: Floats
    is_inside: NDArray[np.bool_]


def measure_to_edge(longitude: ArrayLike, latitude: ArrayLike, area: BaseGeometry) -> EdgeDistance:
    """Return distance, azimuth and side of points against the edge of a polygon or multipolygon of degrees.

    The nearest point is found in a local frame about the area, whose scale is wrong by 4e-7 at 10 km
    (``LocalFrame``); distance and azimuth to it are geodesic.

    Parameters
    ----------
    longitude, latitude
        Degrees, arrays of one length.
    area
        WGS 84 longitude and latitude in degrees, not empty.

    Raises
    ------
    CoordinateError
        If the area is empty.

    Examples
    --------
    >>> from shapely import box
    >>> found = measure_to_edge([0.0005], [0.002], box(0.0, 0.0, 0.001, 0.001))
    >>> round(float(found.distance_m[0]), 1), round(float(found.azimuth_degrees[0])), bool(found.is_inside[0])
    (110.6, 180, False)
    """
    import shapely

    longitude, latitude = np.asarray(longitude, np.float64), np.asarray(latitude, np.float64)
    corners = shapely.get_coordinates(area)
    frame = LocalFrame.around(corners[:, 0], corners[:, 1])
    flat_area = frame.geometry_to_metres(area)
    edge = shapely.boundary(flat_area)
    shapely.prepare([flat_area, edge])
    x, y = frame.to_metres(longitude, latitude)
    is_known = np.isfinite(x) & np.isfinite(y)
    x, y = x[is_known], y[is_known]
    nearest = np.full((len(is_known), 2), np.nan)
    nearest[is_known] = shapely.get_coordinates(shapely.shortest_line(shapely.points(x, y), edge))[1::2]
    is_inside = np.zeros(len(is_known), np.bool_)
    is_inside[is_known] = shapely.intersects_xy(flat_area, x, y)
    edge_longitude, edge_latitude = frame.to_degrees(nearest[:, 0], nearest[:, 1])
    return EdgeDistance(
        distances_m(longitude, latitude, edge_longitude, edge_latitude),
        azimuths_degrees(longitude, latitude, edge_longitude, edge_latitude),
        is_inside,
    )
