"""Distances, azimuths and areas on the WGS 84 ellipsoid, straight over numpy columns.

All of it is the geodesic of C. F. F. Karney, 'Algorithms for geodesics', Journal of Geodesy 87 (2013), as
PROJ carries it; positions are longitude and latitude in degrees, in that order. The 180th meridian and the
poles are places like any other.
"""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from exchange.errors import CoordinateError
from exchange.geo import antimeridian

if TYPE_CHECKING:
    from pyproj import Geod
    from shapely.geometry.base import BaseGeometry

Floats = NDArray[np.float64]


class PolygonMeasure(NamedTuple):
    """Hold what a polygon measures on the ellipsoid.

    Parameters
    ----------
    area_m2
        Area in square metres, holes subtracted.
    length_m
        Length of the exterior rings in metres.
    island_length_m
        Length of the holes' rings in metres, apart from `length_m`.
    """

    area_m2: float
    length_m: float
    island_length_m: float


@cache
def wgs84() -> Geod:
    """Return the WGS 84 ellipsoid (a = 6378137 m, 1/f = 298.257223563; NGA.STND.0036)."""
    from pyproj import Geod

    return Geod(ellps="WGS84")


def distances_m(longitude_1: ArrayLike, latitude_1: ArrayLike, longitude_2: ArrayLike, latitude_2: ArrayLike) -> Floats:
    """Return the geodesic distances in metres between positions given in degrees.

    Parameters
    ----------
    longitude_1, latitude_1, longitude_2, latitude_2
        Numbers or arrays that broadcast against each other; where one is NaN the distance is NaN.

    Examples
    --------
    >>> round(float(distances_m(179.9, 0.0, -179.9, 0.0)))
    22264
    """
    _, _, distance = _inverse(longitude_1, latitude_1, longitude_2, latitude_2)
    return distance


def azimuths_degrees(
    longitude_1: ArrayLike, latitude_1: ArrayLike, longitude_2: ArrayLike, latitude_2: ArrayLike
) -> Floats:
    """Return true azimuths in degrees clockwise from north, [0, 360), from the first to the second position.

    Examples
    --------
    >>> float(azimuths_degrees(0.0, 0.0, -1.0, 0.0))
    270.0
    """
    azimuth, _, _ = _inverse(longitude_1, latitude_1, longitude_2, latitude_2)
    return _turn_positive(azimuth)


def destinations(
    longitude: ArrayLike, latitude: ArrayLike, azimuth_degrees: ArrayLike, distance_m: ArrayLike
) -> tuple[Floats, Floats]:
    """Return the longitudes and latitudes reached from a start along an azimuth over a distance.

    Parameters
    ----------
    longitude, latitude
        Start in degrees.
    azimuth_degrees
        True azimuth at the start, clockwise from north.
    distance_m
        Geodesic distance in metres; all four broadcast against each other.
    """
    columns = np.broadcast_arrays(
        *(np.asarray(c, np.float64) for c in (longitude, latitude, azimuth_degrees, distance_m))
    )
    known = np.logical_and.reduce([np.isfinite(column) for column in columns])
    filled = [np.where(known, column, 0.0).ravel() for column in columns]
    reached_longitude, reached_latitude, _ = wgs84().fwd(filled[0], filled[1], filled[2], filled[3])
    shape = columns[0].shape
    return (
        np.where(known, np.reshape(reached_longitude, shape), np.nan),
        np.where(known, np.reshape(reached_latitude, shape), np.nan),
    )


def steps_m(longitude: ArrayLike, latitude: ArrayLike) -> Floats:
    """Return the metres from each position of a path to the next: one fewer than there are positions."""
    lon, lat = np.asarray(longitude, np.float64), np.asarray(latitude, np.float64)
    return distances_m(lon[:-1], lat[:-1], lon[1:], lat[1:])


def path_length_m(longitude: ArrayLike, latitude: ArrayLike) -> float:
    """Return the length in metres of the path through all positions, leaving out those that are NaN."""
    lon, lat = np.asarray(longitude, np.float64), np.asarray(latitude, np.float64)
    known = np.isfinite(lon) & np.isfinite(lat)
    return float(steps_m(lon[known], lat[known]).sum())


def measure_polygon(geometry: BaseGeometry) -> PolygonMeasure:
    """Measure a polygon or multipolygon of degrees on the ellipsoid.

    Its edges are geodesics. A geometry cut at the 180th meridian (RFC 7946 §3.1.9) is measured as the whole
    it was: the seam is no part of the length.

    Raises
    ------
    CoordinateError
        If the geometry is no polygon or multipolygon.
    """
    area = length = island_length = 0.0
    for polygon in _polygons(antimeridian.join(geometry)):
        exterior_area, exterior_length = _measure_ring(polygon.exterior)
        holes = [_measure_ring(ring) for ring in polygon.interiors]
        area += exterior_area - sum(hole_area for hole_area, _ in holes)
        length += exterior_length
        island_length += sum(hole_length for _, hole_length in holes)
    return PolygonMeasure(area, length, island_length)


def _polygons(geometry: BaseGeometry) -> list[BaseGeometry]:
    if geometry.geom_type == "Polygon":
        return [] if geometry.is_empty else [geometry]
    if geometry.geom_type == "MultiPolygon":
        return list(geometry.geoms)
    raise CoordinateError(
        f"a {geometry.geom_type} has no area",
        remedy="Give a Polygon or a MultiPolygon of longitudes and latitudes.",
    )


def _measure_ring(ring: BaseGeometry) -> tuple[float, float]:
    longitude, latitude = np.asarray(ring.coords)[:, :2].T
    area, length = wgs84().polygon_area_perimeter(longitude, latitude)
    # A polygon around a pole is closed along the 180th meridian: out to the pole and back.
    to_pole = (np.abs(latitude) == 90.0) & (np.abs(longitude) == 180.0)
    is_seam = to_pole[1:] | to_pole[:-1]
    return abs(area), length - float(steps_m(longitude, latitude)[is_seam].sum())


def _inverse(
    longitude_1: ArrayLike, latitude_1: ArrayLike, longitude_2: ArrayLike, latitude_2: ArrayLike
) -> tuple[Floats, Floats, Floats]:
    columns = np.broadcast_arrays(
        *(np.asarray(c, np.float64) for c in (longitude_1, latitude_1, longitude_2, latitude_2))
    )
    known = np.logical_and.reduce([np.isfinite(column) for column in columns])
    filled = [np.where(known, column, 0.0).ravel() for column in columns]
    answers = wgs84().inv(filled[0], filled[1], filled[2], filled[3])
    azimuth, back, distance = (np.where(known, np.reshape(a, columns[0].shape), np.nan) for a in answers)
    return azimuth, back, distance


def _turn_positive(azimuth: Floats) -> Floats:
    turned = np.mod(azimuth, 360.0)
    # A tiny negative azimuth rounds up to 360 itself.
    return np.where(turned >= 360.0, 0.0, turned)
