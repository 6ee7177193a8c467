"""The invented ground: a bench that tilts north-east, with two knolls and a draw, and its elevation model."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from exchange.demo_fire.scene import FRAME, Floats

_KNOLLS: Final = ((-350.0, 420.0, 62.0, 260.0), (520.0, -300.0, 48.0, 210.0))
"""East, north, height and spread of each knoll in metres."""
_CELL_DEGREES: Final = 0.0003
_COLUMNS, _ROWS = 92, 74
_WEST, _SOUTH = -114.017, 44.509

GEOGRAPHIC_WKT: Final = (
    'GEOGCS["WGS 84",DATUM["WGS_1984",SPHEROID["WGS 84",6378137,298.257223563]],'
    'PRIMEM["Greenwich",0],UNIT["degree",0.0174532925199433],AUTHORITY["EPSG","4326"]]'
)


def ground_m(x: ArrayLike, y: ArrayLike) -> Floats:
    """Return the height of the ground above mean sea level in metres, at metres of the fire's frame."""
    east, north = np.asarray(x, float), np.asarray(y, float)
    height = 1840.0 + 0.035 * east + 0.05 * north
    for middle_east, middle_north, top, spread in _KNOLLS:
        height = height + top * np.exp(-((east - middle_east) ** 2 + (north - middle_north) ** 2) / (2 * spread**2))
    draw = (east + 0.6 * north + 40.0 * np.sin(north / 180.0)) / 70.0
    return np.asarray(height - 22.0 * np.exp(-(draw**2)))


def elevation_grid() -> str:
    """Return the elevation model as an ASCII grid: whole cells of degrees, heights in metres, north row first."""
    longitude = _WEST + _CELL_DEGREES * (np.arange(_COLUMNS) + 0.5)
    latitude = _SOUTH + _CELL_DEGREES * (np.arange(_ROWS)[::-1] + 0.5)
    heights = ground_m(*FRAME.to_metres(*np.meshgrid(longitude, latitude)))
    head = [
        f"ncols {_COLUMNS}",
        f"nrows {_ROWS}",
        f"xllcorner {_WEST}",
        f"yllcorner {_SOUTH}",
        f"cellsize {_CELL_DEGREES}",
        "NODATA_value -9999",
    ]
    return "\n".join(head + [" ".join(f"{value:.1f}" for value in row) for row in heights]) + "\n"
