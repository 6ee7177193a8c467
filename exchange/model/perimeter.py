"""A fire's perimeter: a polygon whose holes are unburned islands."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from dataclasses import replace as replace_fields
from typing import TYPE_CHECKING, Any

import numpy as np

from exchange.errors import ModelError
from exchange.model.columns import TIME_TYPE, to_time_column
from exchange.model.source import Source

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

_NOT_A_TIME = np.datetime64("NaT", "ms")
_NAN = float("nan")


@dataclass(frozen=True, eq=False, kw_only=True)
class Perimeter:
    """Hold one perimeter.

    Attributes
    ----------
    id, name
        Text.
    geometry
        shapely Polygon, or MultiPolygon of more than one part, WGS 84 longitude and latitude in degrees; holes are
        unburned islands.
    as_of
        The instant it describes, UTC, datetime64[ms].
    method
        How it was made, in words.
    accuracy
        Distance in metres within which the true edge lies 95 times in 100.
    area
        Square metres, islands left out.
    length
        Metres, of the outer edge.
    tracks
        Names of the tracks it came from.
    quality
        Figures that say how far to trust it.
    extra
        Foreign fields, typed as they came.
    source
        The file, layer and record it came from; does not count in comparisons.

    Raises
    ------
    ModelError
        When the geometry is no polygon.
    """

    geometry: BaseGeometry
    id: str = ""
    name: str = ""
    as_of: np.datetime64 = _NOT_A_TIME
    method: str = ""
    accuracy: float = _NAN
    area: float = _NAN
    length: float = _NAN
    tracks: tuple[str, ...] = ()
    quality: Mapping[str, Any] = field(default_factory=dict)
    extra: Mapping[str, Any] = field(default_factory=dict)
    source: Source = field(default_factory=Source)

    def __post_init__(self) -> None:
        """Check the geometry's kind and bring the time to milliseconds."""
        if getattr(self.geometry, "geom_type", None) not in ("Polygon", "MultiPolygon"):
            raise ModelError(
                f"a perimeter is a polygon or several, not {getattr(self.geometry, 'geom_type', self.geometry)!r}"
            )
        if self.geometry.geom_type == "MultiPolygon" and len(self.geometry.geoms) == 1:
            object.__setattr__(self, "geometry", self.geometry.geoms[0])
        object.__setattr__(self, "as_of", to_time_column(self.as_of, 1)[0].astype(TIME_TYPE))
        object.__setattr__(self, "tracks", tuple(self.tracks))

    def replace(self, **changes: Any) -> Perimeter:
        """Return a copy with some fields replaced."""
        return replace_fields(self, **changes)

    def differences(self, other: Perimeter) -> list[str]:
        """Tell in words where two perimeters differ; ``source`` does not count, missing equals missing."""
        found = [
            f"{f.name}: {mine!r} is not {theirs!r}"
            for f in fields(self)
            if f.name not in ("geometry", "source")
            and not _same((mine := getattr(self, f.name)), (theirs := getattr(other, f.name)))
        ]
        if not self.geometry.equals_exact(other.geometry, 0.0, normalize=True):
            found.append("geometry differs")
        return found

    def __eq__(self, other: object) -> bool:
        """Compare field by field, rings by their vertices wherever they start; ``source`` does not count."""
        if not isinstance(other, Perimeter):
            return NotImplemented
        return not self.differences(other)

    __hash__ = None  # type: ignore[assignment]  # compared by value

    @property
    def __geo_interface__(self) -> dict[str, Any]:
        """The perimeter as a GeoJSON-like feature."""
        held = {"id": self.id, "name": self.name, "method": self.method}
        numbers = {"accuracy": self.accuracy, "area": self.area, "length": self.length}
        properties = {
            **self.extra,
            **{name: value for name, value in held.items() if value},
            **{name: value for name, value in numbers.items() if value == value},
        }
        return {"type": "Feature", "geometry": self.geometry.__geo_interface__, "properties": properties}


def _same(first: Any, second: Any) -> bool:
    both_missing = first != first and second != second
    return both_missing or (type(first) is type(second) and first == second)
