"""A flat frame of metres around one place: azimuthal equidistant on the WGS 84 ellipsoid."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from exchange.errors import CoordinateError
from exchange.geo import antimeridian

if TYPE_CHECKING:
    from pyproj import Proj

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class LocalFrame:
    """Turn degrees into metres east and north of a centre, and back.

    Distances and azimuths from the centre are right to the millimetre; between other points the scale is wrong
    by about d²/(6R²), which is 4e-7 at 10 km and 4e-5 at 100 km from the centre (J. P. Snyder, 'Map Projections:
    A Working Manual', USGS Professional Paper 1395, pp. 191-202). The 180th meridian and the poles need no care.

    Parameters
    ----------
    longitude, latitude
        The centre in degrees.

    Examples
    --------
    >>> frame = LocalFrame.around([179.99, -179.99], [0.0, 0.0])
    >>> x, y = frame.to_metres([179.99, -179.99], [0.0, 0.0])
    >>> [round(float(value), 1) for value in x]
    [-1113.2, 1113.2]
    """

    longitude: float
    latitude: float

    @classmethod
    def around(cls, longitude: ArrayLike, latitude: ArrayLike) -> LocalFrame:
        """Centre a frame on positions given in degrees; NaN are left out.

        The centre is the direction of the mean of the positions' unit vectors: over the area of a fire the
        circular mean of the longitudes and the mean of the latitudes, and right around a pole as well.

        Raises
        ------
        CoordinateError
            If no position is given, or they lie all around the earth and have no middle.
        """
        lon, lat = np.broadcast_arrays(
            np.asarray(longitude, np.float64).ravel(), np.asarray(latitude, np.float64).ravel()
        )
        known = np.isfinite(lon) & np.isfinite(lat)
        if not known.any():
            raise CoordinateError("no position to centre a frame on", remedy="Give at least one finite position.")
        lon, lat = np.radians(lon[known]), np.radians(lat[known])
        x, y, z = (np.cos(lat) * np.cos(lon)).mean(), (np.cos(lat) * np.sin(lon)).mean(), np.sin(lat).mean()
        if np.hypot(np.hypot(x, y), z) < 1e-9:
            raise CoordinateError(
                "the positions lie all around the earth and have no middle",
                remedy="Split them into areas no larger than a continent.",
            )
        return cls(float(np.degrees(np.arctan2(y, x))), float(np.degrees(np.arctan2(z, np.hypot(x, y)))))

    @cached_property
    def _projection(self) -> Proj:
        from pyproj import Proj

        return Proj(proj="aeqd", lon_0=self.longitude, lat_0=self.latitude, datum="WGS84", units="m")

    def to_metres(self, longitude: ArrayLike, latitude: ArrayLike) -> tuple[Floats, Floats]:
        """Return metres east and north of the centre for degrees; NaN stays NaN."""
        return self._project(longitude, latitude, inverse=False)

    def to_degrees(self, x: ArrayLike, y: ArrayLike) -> tuple[Floats, Floats]:
        """Return longitudes in [-180, 180] and latitudes for metres east and north; NaN stays NaN."""
        return self._project(x, y, inverse=True)

    def geometry_to_metres(self, geometry: Any) -> Any:
        """Return a shapely geometry (or array of them) of degrees in metres of this frame; heights are kept.

        A polygon that was cut at the 180th meridian is joined again first.
        """
        return _transform(_each(geometry, antimeridian.join), self._columns_to_metres)

    def geometry_to_degrees(self, geometry: Any) -> Any:
        """Return a shapely geometry (or array of them) of this frame's metres in degrees; heights are kept.

        What crosses the 180th meridian is cut there, as RFC 7946 §3.1.9 asks.
        """
        return _each(_transform(geometry, self._columns_to_degrees), antimeridian.cut)

    def _columns_to_metres(self, positions: Floats) -> Floats:
        x, y = self.to_metres(positions[:, 0], positions[:, 1])
        return np.column_stack([x, y, positions[:, 2:]])

    def _columns_to_degrees(self, positions: Floats) -> Floats:
        longitude, latitude = self.to_degrees(positions[:, 0], positions[:, 1])
        return np.column_stack([longitude, latitude, positions[:, 2:]])

    def _project(self, first: ArrayLike, second: ArrayLike, *, inverse: bool) -> tuple[Floats, Floats]:
        a, b = np.broadcast_arrays(np.asarray(first, np.float64), np.asarray(second, np.float64))
        projected = self._projection(a.ravel(), b.ravel(), inverse=inverse)
        return _nan_for_infinite(projected[0], a.shape), _nan_for_infinite(projected[1], a.shape)


def _nan_for_infinite(values: Any, shape: tuple[int, ...]) -> Floats:
    # PROJ answers infinity for what it cannot project, a missing value included.
    column = np.asarray(values, np.float64).reshape(shape)
    return np.where(np.isfinite(column), column, np.nan)


def _each(geometry: Any, function: Callable[[Any], Any]) -> Any:
    if not isinstance(geometry, np.ndarray):
        return function(geometry)
    changed = np.empty(geometry.shape, dtype=object)
    for index, one in np.ndenumerate(geometry):
        changed[index] = None if one is None else function(one)
    return changed


def _transform(geometry: Any, function: Callable[[Floats], Floats]) -> Any:
    import shapely

    flat, high = shapely.transform, shapely.has_z(geometry)
    if not np.any(high) or np.all(high):
        return flat(geometry, function, include_z=bool(np.all(high)))
    return _each(geometry, lambda one: flat(one, function, include_z=bool(one.has_z)))
