"""From any coordinate reference system to WGS 84 longitude and latitude, with the accuracy told."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from exchange.errors import AmbiguityError, OptionError
from exchange.model import Problem

NOTEWORTHY_ACCURACY_M = 1.0
"""Datum shifts less accurate than this are told."""


class ToWgs84:
    """Turn positions of one layer into WGS 84 degrees.

    Parameters
    ----------
    wkt
        The layer's coordinate reference system; empty when it states none.
    stated
        What the option ``--crs`` states.
    path, layer
        For messages.

    Raises
    ------
    AmbiguityError
        When neither the layer nor the option states a system.
    OptionError
        When the option names no known system.
    """

    def __init__(self, wkt: str, stated: str, *, path: str, layer: str) -> None:
        from pyproj import CRS, Transformer
        from pyproj.exceptions import CRSError

        if not wkt and not stated:
            raise AmbiguityError(
                "the layer states no coordinate reference system",
                path=path,
                layer=layer,
                remedy="State it with --crs, such as --crs EPSG:26911; ask the sender if you do not know.",
            )
        try:
            self._crs = CRS.from_user_input(wkt or stated)
        except CRSError as error:
            raise OptionError(
                f"{(wkt or stated)[:60]!r} names no coordinate reference system", path=path, field="--crs"
            ) from error
        self._transformer = Transformer.from_crs(self._crs, "EPSG:4326", always_xy=True)
        self._path, self._layer = path, layer

    @property
    def changes_positions(self) -> bool:
        """Whether the layer is in another system than WGS 84 degrees."""
        from pyproj import CRS

        return not self._crs.equals(CRS.from_epsg(4326), ignore_axis_order=True)

    def transform(self, x: NDArray[Any], y: NDArray[Any]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Return longitude and latitude in degrees; what has no image on the earth becomes infinite."""
        if not self.changes_positions:
            return np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64)
        longitude, latitude = self._transformer.transform(x, y)
        return np.asarray(longitude), np.asarray(latitude)

    def transform_geometry(self, geometry: Any) -> Any:
        """Return a shapely geometry in WGS 84 degrees; heights stay as they are."""
        import shapely

        if not self.changes_positions:
            return geometry

        def move(positions: NDArray[np.float64]) -> NDArray[np.float64]:
            longitude, latitude = self.transform(positions[:, 0], positions[:, 1])
            return np.column_stack([longitude, latitude, *positions.T[2:]])

        return shapely.transform(geometry, move, include_z=geometry.has_z)

    def describe(self) -> list[Problem]:
        """Return what a person should know of the datum shift: which it was and how accurate."""
        if not self.changes_positions:
            return []
        accuracy = self._transformer.accuracy
        known = f"{accuracy:g} m" if accuracy is not None and accuracy >= 0 else "unknown"
        poor = accuracy is None or accuracy < 0 or accuracy > NOTEWORTHY_ACCURACY_M
        return [
            Problem(
                message=f"positions were turned from {self._crs.name} into WGS 84, accuracy {known}",
                remedy="Check one known point before crews walk by these positions." if poor else "",
                severity="note",
                path=self._path,
                layer=self._layer,
            )
        ]
