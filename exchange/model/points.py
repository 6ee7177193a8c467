"""What tables of points share: a position per row, features for the outside world."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Self

import numpy as np
from numpy.typing import NDArray

from exchange.model.columns import NumberColumn
from exchange.model.table import Table

if TYPE_CHECKING:
    import geopandas


class PointTable(Table):
    """A table whose rows have a place on the earth, or none yet.

    No dataclass of its own, so that each table declares its position columns where it wants them.
    """

    longitude: NumberColumn
    latitude: NumberColumn

    def has_position(self) -> NDArray[np.bool_]:
        """Return which rows have both a longitude and a latitude."""
        return ~(np.isnan(self.longitude) | np.isnan(self.latitude))

    @property
    def __geo_interface__(self) -> dict[str, Any]:
        """All rows as a GeoJSON-like feature collection (one Python object a row)."""
        return {"type": "FeatureCollection", "features": [row.__geo_interface__ for row in self]}

    def to_geopandas(self) -> geopandas.GeoDataFrame:
        """Return the table as a GeoDataFrame in EPSG:4326, foreign columns behind the declared ones.

        Raises
        ------
        MissingExtraError
            When geopandas is not installed.
        """
        from exchange.model.frames import to_geopandas

        return to_geopandas(self)

    @classmethod
    def from_geopandas(cls, frame: geopandas.GeoDataFrame) -> Self:
        """Return a table from a GeoDataFrame of points; columns the table does not declare go to ``extra``.

        Raises
        ------
        MissingExtraError
            When geopandas is not installed.
        AmbiguityError
            When the frame states no coordinate reference system.
        ModelError
            When a geometry is no point, or a declared column holds the wrong kind of value.
        """
        from exchange.model.frames import from_geopandas

        return from_geopandas(cls, frame)
