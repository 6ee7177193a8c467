"""What changed between two perimeters: ground added and lost, and where the edge moved most."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from exchange.geo import units
from exchange.geo.edge import measure_to_edge
from exchange.geo.frame import LocalFrame
from exchange.geo.geodesy import measure_polygon
from exchange.perimeter.shapes import measure_along, places_at

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from exchange.model import Perimeter

Floats = NDArray[np.float64]
_STEP_M, _MOST_STEPS = 1.0, 5_000


@dataclass(frozen=True, kw_only=True)
class Growth:
    """Hold what changed from an earlier to a later perimeter.

    Attributes
    ----------
    earlier_area_m2, later_area_m2, added_m2, lost_m2
        On the ellipsoid; islands are no part of an area.
    moved_most_m, moved_most_at, moved_most_azimuth_degrees
        How far the outer edge moved where it moved most, where the later edge lies there (longitude, latitude), and
        in which true direction it moved. NaN where nothing of the later perimeter meets the earlier one.
    is_outward
        Whether it moved outward there.
    mean_movement_m
        Mean over the later outer edge of how far it lies outside the earlier one; inside counts negative.
    new_parts
        Parts of the later perimeter that touch no earlier part; their edges are left out of the movement.
    expected_error_m
        Distance that holds an unmoved edge 95 times in 100, from the accuracies of both; NaN where one is not known.
    """

    earlier_area_m2: float
    later_area_m2: float
    added_m2: float
    lost_m2: float
    moved_most_m: float
    moved_most_at: tuple[float, float]
    moved_most_azimuth_degrees: float
    is_outward: bool
    mean_movement_m: float
    new_parts: int
    expected_error_m: float

    @property
    def is_within_error(self) -> bool:
        """Whether the most that the edge moved may be the error of the two perimeters."""
        return self.moved_most_m <= self.expected_error_m

    @property
    def is_apart(self) -> bool:
        """Whether nothing of the later perimeter meets the earlier one, which may be that of another fire."""
        return math.isnan(self.moved_most_m)

    def as_dict(self) -> dict[str, Any]:
        """Return the figures by stable names, missing ones as ``None``, hectares and acres beside square metres."""
        longitude, latitude = self.moved_most_at
        told = {"is_within_error": self.is_within_error, "is_apart": self.is_apart}
        figures: dict[str, Any] = {**vars(self), **told}
        for name in ("earlier_area", "later_area", "added", "lost"):
            figures[f"{name}_ha"] = _hectares(figures[f"{name}_m2"])
            figures[f"{name}_acres"] = _acres(figures[f"{name}_m2"])
        figures["moved_most_at"] = None if math.isnan(longitude) else [longitude, latitude]
        return {name: None if value != value else value for name, value in figures.items()}

    def lines(self) -> list[tuple[str, str]]:
        """Return a short table for people: what it is, and its figures in words."""
        rows = [
            ("area before", _area_words(self.earlier_area_m2)),
            ("area now", _area_words(self.later_area_m2)),
            ("added", _area_words(self.added_m2)),
            ("lost", _area_words(self.lost_m2)),
            ("moved most", self._describe_most()),
            ("mean movement", self._describe_mean()),
        ]
        new = [("new parts", f"{self.new_parts}, apart from all that burned before")] if self.new_parts else []
        return rows + new + [("believe", self._describe_error())]

    def _describe_most(self) -> str:
        if self.is_apart:
            return "the two perimeters do not touch: check that both are of one fire"
        longitude, latitude = self.moved_most_at
        way = "outward" if self.is_outward else "inward"
        return (
            f"{self.moved_most_m:.1f} m {way}, towards {self.moved_most_azimuth_degrees:.0f}° true, "
            f"at {latitude:.6f}, {longitude:.6f}"
        )

    def _describe_mean(self) -> str:
        if math.isnan(self.mean_movement_m):
            return "unknown"
        return f"{abs(self.mean_movement_m):.1f} m {'outward' if self.mean_movement_m >= 0 else 'inward'}"

    def _describe_error(self) -> str:
        if math.isnan(self.expected_error_m):
            return "one of the two states no accuracy, so a small movement may be no growth at all"
        if self.is_within_error:
            return f"no movement is beyond the {self.expected_error_m:.1f} m by which the two may be off"
        return f"only what moved more than {self.expected_error_m:.1f} m, by which the two may be off"


def compare_perimeters(earlier: Perimeter, later: Perimeter) -> Growth:
    """Tell what the later perimeter has more and less than the earlier one, and where its edge moved.

    Movement is measured from places every metre along the later outer edge (5000 at most) to the nearest point of
    the earlier outer edge; an island that was mapped anew is no movement of the edge.

    Parameters
    ----------
    earlier, later
        Perimeters with geometry in degrees, not empty.

    Raises
    ------
    CoordinateError
        If a geometry is empty, or the two lie all around the earth.
    """
    import shapely

    corners = shapely.get_coordinates([earlier.geometry, later.geometry])
    frame = LocalFrame.around(corners[:, 0], corners[:, 1])
    before, after = (frame.geometry_to_metres(one.geometry) for one in (earlier, later))
    parts = [part for part in shapely.get_parts(after) if shapely.intersects(part, before)]
    longitude, latitude, moved, azimuth = _movement(frame, _without_islands(before), parts)
    most = int(np.abs(moved).argmax()) if len(moved) else -1
    return Growth(
        earlier_area_m2=measure_polygon(earlier.geometry).area_m2,
        later_area_m2=measure_polygon(later.geometry).area_m2,
        added_m2=_area_m2(frame, shapely.difference(after, before)),
        lost_m2=_area_m2(frame, shapely.difference(before, after)),
        moved_most_m=abs(float(moved[most])) if len(moved) else math.nan,
        moved_most_at=(float(longitude[most]), float(latitude[most])) if len(moved) else (math.nan, math.nan),
        moved_most_azimuth_degrees=float(azimuth[most]) if len(moved) else math.nan,
        is_outward=bool(len(moved) and moved[most] > 0),
        mean_movement_m=float(moved.mean()) if len(moved) else math.nan,
        new_parts=len(shapely.get_parts(after)) - len(parts),
        expected_error_m=math.hypot(earlier.accuracy, later.accuracy),
    )


def _movement(
    frame: LocalFrame, before: BaseGeometry, parts: list[BaseGeometry]
) -> tuple[Floats, Floats, Floats, Floats]:
    """Return places along the outer edges of the parts, how far outside the earlier area each is, and the azimuth."""
    step = max(_STEP_M, sum(part.exterior.length for part in parts) / _MOST_STEPS)
    places = np.vstack([np.empty((0, 2)), *(_places_along(part.exterior, step) for part in parts)])
    longitude, latitude = frame.to_degrees(places[:, 0], places[:, 1])
    if not len(places):
        return longitude, latitude, np.empty(0), np.empty(0)
    found = measure_to_edge(longitude, latitude, frame.geometry_to_degrees(before))
    # The azimuth found is from the later edge back to the earlier one; the edge moved the other way.
    return (
        longitude,
        latitude,
        np.where(found.is_inside, -found.distance_m, found.distance_m),
        (found.azimuth_degrees + 180.0) % 360.0,
    )


def _places_along(line: BaseGeometry, step_m: float) -> Floats:
    corners = np.asarray(line.coords)[:, :2]
    along = measure_along(corners)
    return places_at(corners, along, np.arange(0.0, along[-1], step_m))


def _without_islands(area: BaseGeometry) -> BaseGeometry:
    import shapely

    return shapely.union_all([shapely.Polygon(part.exterior) for part in shapely.get_parts(area)])


def _area_m2(frame: LocalFrame, area: BaseGeometry) -> float:
    import shapely

    pieces = [part for part in shapely.get_parts(area) if part.geom_type == "Polygon" and not part.is_empty]
    return sum(measure_polygon(frame.geometry_to_degrees(piece)).area_m2 for piece in pieces)


def _hectares(area_m2: float) -> float:
    return units.convert(area_m2, units.SQUARE_METRE, units.HECTARE)


def _acres(area_m2: float) -> float:
    return units.convert(area_m2, units.SQUARE_METRE, units.ACRE)


def _area_words(area_m2: float) -> str:
    return f"{_hectares(area_m2):.2f} ha = {_acres(area_m2):.2f} acres"
