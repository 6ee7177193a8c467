"""From a layer's coordinate reference system to WGS 84, with the accuracy told."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from exchange.errors import AmbiguityError, OptionError
from exchange.geo.reference_system import read_reference_system
from exchange.model import Problem

NOTEWORTHY_ACCURACY_M = 1.0
"""Datum shifts less accurate than this are told."""


class LayerProjection:
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
        When what is stated names no system of places on the earth.
    """

    def __init__(self, wkt: str, stated: str, *, path: str, layer: str) -> None:
        if not wkt and not stated:
            raise AmbiguityError(
                "the layer states no coordinate reference system",
                path=path,
                layer=layer,
                remedy="State it with --crs, such as --crs EPSG:26911; ask the sender if you do not know.",
            )
        try:
            self._way = read_reference_system(wkt or stated)
        except AmbiguityError as error:
            raise OptionError(
                f"{(wkt or stated)[:60]!r} names no coordinate reference system", path=path, field="--crs"
            ) from error
        self._path, self._layer = path, layer

    def transform(self, x: NDArray[Any], y: NDArray[Any]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Return longitude and latitude in degrees; what has no image on the earth is infinite, NaN stays NaN."""
        return self._way.transform(x, y)

    def transform_geometry(self, geometry: Any) -> Any:
        """Return a shapely geometry in WGS 84 degrees; heights stay as they are."""
        import shapely

        if self._way.is_identity:
            return geometry

        def move(positions: NDArray[np.float64]) -> NDArray[np.float64]:
            longitude, latitude = self.transform(positions[:, 0], positions[:, 1])
            return np.column_stack([longitude, latitude, *positions.T[2:]])

        return shapely.transform(geometry, move, include_z=geometry.has_z)

    def describe(self) -> list[Problem]:
        """Return what a person should know of the datum shifts used: the least accurate counts."""
        if self._way.is_identity:
            return []
        accuracies = list(self._way.operations.values())
        is_known = bool(accuracies) and not np.isnan(accuracies).any()
        worst = max(accuracies) if is_known else np.inf
        known = f"{worst:g} m" if is_known else "unknown"
        return [
            Problem(
                message=f"positions were turned from {self._way.crs.name} into WGS 84, accuracy {known}",
                remedy="Check one known point before crews walk by these positions."
                if worst > NOTEWORTHY_ACCURACY_M
                else "",
                severity="note",
                path=self._path,
                layer=self._layer,
            )
        ]
