"""Metres to degrees and back, UTM and the United States National Grid, with nothing but numpy.

The invented fire is the foreign side of every test, so it must not lean on the exchange's own geodesy.
The series in the third flattening n are those of L. Krüger (1912) to the fourth order, as printed in
C. F. F. Karney, 'Transverse Mercator with an accuracy of a few nanometers', Journal of Geodesy 85 (2011);
the letters of the 100 km squares follow FGDC-STD-011-2001.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

# WGS 84 (NGA.STND.0036); the ellipsoid of NAD 83 differs by a tenth of a millimetre.
_A: Final = 6378137.0
_F: Final = 1 / 298.257223563
_E: Final = np.sqrt(_F * (2 - _F))
_N: Final = _F / (2 - _F)
_RADIUS: Final = _A / (1 + _N) * (1 + _N**2 / 4 + _N**4 / 64)
_J: Final = 2.0 * np.arange(1, 5)


def _series(*rows: tuple[float, ...]) -> Floats:
    """Return four coefficients; row j holds the factors of n^j, n^(j+1) and so on."""
    return np.array([sum(c * _N ** (j + i) for i, c in enumerate(row)) for j, row in enumerate(rows, start=1)])


_TO_GRID: Final = _series(
    (1 / 2, -2 / 3, 5 / 16, 41 / 180), (13 / 48, -3 / 5, 557 / 1440), (61 / 240, -103 / 140), (49561 / 161280,)
)
_FROM_GRID: Final = _series(
    (1 / 2, -2 / 3, 37 / 96, -1 / 360), (1 / 48, 1 / 15, -437 / 1440), (17 / 480, -37 / 840), (4397 / 161280,)
)
_LATITUDE: Final = _series((2, -2 / 3, -2, 116 / 45), (7 / 3, -8 / 5, -227 / 45), (56 / 15, -136 / 35), (4279 / 630,))


@dataclass(frozen=True)
class TransverseMercator:
    """Project degrees to metres around one meridian.

    Parameters
    ----------
    central_meridian, origin_latitude
        Degrees; the false easting and northing are counted from where they cross.
    scale
        On the central meridian.
    false_easting_m, false_northing_m
        Metres.
    """

    central_meridian: float
    scale: float
    false_easting_m: float
    false_northing_m: float
    origin_latitude: float = 0.0

    def to_metres(self, longitude: ArrayLike, latitude: ArrayLike) -> tuple[Floats, Floats]:
        """Return eastings and northings in metres."""
        xi, eta = self._to_plane(np.asarray(longitude, float), np.asarray(latitude, float))
        radius = self.scale * _RADIUS
        return self.false_easting_m + radius * eta, self.false_northing_m + radius * (xi - self._origin())

    def to_degrees(self, easting: ArrayLike, northing: ArrayLike) -> tuple[Floats, Floats]:
        """Return longitudes and latitudes in degrees."""
        radius = self.scale * _RADIUS
        xi = (np.asarray(northing, float) - self.false_northing_m) / radius + self._origin()
        eta = (np.asarray(easting, float) - self.false_easting_m) / radius
        j = _J.reshape(-1, *[1] * xi.ndim)
        beta = _FROM_GRID.reshape(j.shape)
        xi_1 = xi - (beta * np.sin(j * xi) * np.cosh(j * eta)).sum(axis=0)
        eta_1 = eta - (beta * np.cos(j * xi) * np.sinh(j * eta)).sum(axis=0)
        conformal = np.arcsin(np.sin(xi_1) / np.cosh(eta_1))
        latitude = conformal + (_LATITUDE.reshape(j.shape) * np.sin(j * conformal)).sum(axis=0)
        longitude = np.arctan2(np.sinh(eta_1), np.cos(xi_1))
        return self.central_meridian + np.degrees(longitude), np.degrees(latitude)

    def _to_plane(self, longitude: Floats, latitude: Floats) -> tuple[Floats, Floats]:
        sine, lam = np.sin(np.radians(latitude)), np.radians(longitude - self.central_meridian)
        t = np.sinh(np.arctanh(sine) - _E * np.arctanh(_E * sine))
        xi, eta = np.arctan2(t, np.cos(lam)), np.arcsinh(np.sin(lam) / np.hypot(t, np.cos(lam)))
        j = _J.reshape(-1, *[1] * np.ndim(xi))
        alpha = _TO_GRID.reshape(j.shape)
        return (
            xi + (alpha * np.sin(j * xi) * np.cosh(j * eta)).sum(axis=0),
            eta + (alpha * np.cos(j * xi) * np.sinh(j * eta)).sum(axis=0),
        )

    def _origin(self) -> float:
        xi, _ = self._to_plane(np.array(self.central_meridian), np.array(self.origin_latitude))
        return float(xi)


def utm(zone: int) -> TransverseMercator:
    """Return the projection of a northern UTM zone (NGA.SIG.0012: scale 0.9996, false easting 500 km)."""
    return TransverseMercator(
        central_meridian=6.0 * zone - 183.0, scale=0.9996, false_easting_m=500_000.0, false_northing_m=0.0
    )


def utm_zones(longitude: ArrayLike) -> NDArray[np.int64]:
    """Return the zone each longitude lies in, the exceptions of Norway and Svalbard apart."""
    return (np.floor((np.asarray(longitude, float) + 180.0) / 6.0) + 1).astype(np.int64)


def usng(longitude: float, latitude: float) -> str:
    """Write a place of the north, between the equator and 72°, to the metre, cut and not rounded as the standard asks.

    Examples
    --------
    >>> usng(-77.03524022, 38.88946731)
    '18S UJ 23483 06479'
    """
    zone = int(utm_zones(longitude))
    easting, northing = (int(np.floor(value)) for value in utm(zone).to_metres(longitude, latitude))
    band = "NPQRSTUVW"[int(latitude // 8)]
    column = ("ABCDEFGH", "JKLMNPQR", "STUVWXYZ")[(zone - 1) % 3][easting // 100_000 - 1]
    row = "ABCDEFGHJKLMNPQRSTUV"[(northing // 100_000 + (0 if zone % 2 else 5)) % 20]
    return f"{zone}{band} {column}{row} {easting % 100_000:05d} {northing % 100_000:05d}"
