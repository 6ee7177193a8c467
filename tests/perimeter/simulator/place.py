"""From flat metres to degrees and back by geodesics from one centre, not by the project's own frame."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from pyproj import Geod

Floats = NDArray[np.float64]
_WGS_84 = Geod(ellps="WGS84")


@dataclass(frozen=True)
class Place:
    """Where on earth a case lies: metres are distance and direction from this centre."""

    longitude: float = -114.0
    latitude: float = 44.5

    def to_degrees(self, places: Floats) -> tuple[Floats, Floats]:
        """Return longitudes and latitudes of metres east and north, to the seventh decimal as logs carry them."""
        azimuth = np.degrees(np.arctan2(places[:, 0], places[:, 1]))
        count = len(places)
        longitude, latitude, _ = _WGS_84.fwd(
            np.full(count, self.longitude), np.full(count, self.latitude), azimuth, np.hypot(*places.T)
        )
        return np.round(longitude, 7), np.round(latitude, 7)

    def to_metres(self, degrees: Floats) -> Floats:
        """Return metres east and north of longitudes and latitudes, shape (n, 2)."""
        count = len(degrees)
        azimuth, _, distance = _WGS_84.inv(
            np.full(count, self.longitude), np.full(count, self.latitude), degrees[:, 0], degrees[:, 1]
        )
        turn = np.radians(azimuth)
        return np.column_stack([distance * np.sin(turn), distance * np.cos(turn)])

    def area_to_metres(self, area: shapely.Geometry) -> shapely.Geometry:
        """Return a polygon of degrees in metres; pieces cut at the 180th meridian become one again."""
        pieces = shapely.get_parts(shapely.transform(area, self.to_metres))
        return shapely.union_all(pieces, grid_size=1e-4) if len(pieces) > 1 else pieces[0]
