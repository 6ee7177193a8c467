"""Which division of the fire a spot lies in: by a polygon around it, or by the breaks along the edge.

A break is a place on the perimeter named by the two divisions that meet there, ``A/B``: going clockwise along the
edge, A ends and B begins (that divisions are lettered clockwise is common practice). A spot belongs to the division
of the point of the outer edge that is nearest to it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from exchange.errors import OptionError
from exchange.geo.frame import LocalFrame

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from exchange.model import Perimeter, Places

Floats = NDArray[np.float64]

FARTHEST_BREAK_M = 500.0
"""A place farther from the edge than this is no division break of it."""


@dataclass(frozen=True)
class Divisions:
    """The divisions of a fire: areas by name, or arcs of the outer edge.

    Attributes
    ----------
    names
        Of each area, or of each arc in the order along the edge.
    areas
        WGS 84 polygons; empty where the divisions are arcs.
    edge
        The outer edge in degrees, clockwise; ``None`` where the divisions are areas.
    starts
        Where each arc begins, metres along the edge, ascending.
    """

    names: tuple[str, ...]
    areas: tuple[BaseGeometry, ...] = ()
    edge: BaseGeometry | None = None
    starts: tuple[float, ...] = ()

    @classmethod
    def from_areas(cls, perimeters: Sequence[Perimeter]) -> Divisions:
        """Return the divisions that polygons are, each by its name or else its identifier.

        Raises
        ------
        OptionError
            When there is no polygon, or one has no name.
        """
        names = tuple(perimeter.name or perimeter.id for perimeter in perimeters)
        if not names or not all(names):
            raise OptionError("the divisions are no polygons with names", field="--divisions")
        return cls(names, tuple(perimeter.geometry for perimeter in perimeters))

    @classmethod
    def from_breaks(cls, places: Places, area: BaseGeometry) -> Divisions:
        """Return the divisions between breaks, places named ``A/B``, along the outer edge of the largest part.

        Raises
        ------
        OptionError
            When there are no breaks, one is far from the edge, or the names do not follow each other clockwise.
        """
        from shapely import line_locate_point, points

        rows = [row for row, name in enumerate(places.name) if name.count("/") == 1 and all(name.split("/"))]
        if not rows:
            raise OptionError(
                "no place is a division break", field="--divisions", remedy="Name breaks by the two divisions: A/B."
            )
        edge = _find_outer_edge(area)
        frame, flat = _flatten(edge)
        x, y = frame.to_metres(places.longitude[rows], places.latitude[rows])
        breaks = points(x, y)
        along = line_locate_point(flat, breaks)
        _refuse_far(places, rows, np.asarray([flat.distance(one) for one in breaks]))
        order = np.argsort(along)
        ends, begins = zip(*(places.name[rows[place]].split("/") for place in order), strict=True)
        for here, there in zip(begins, (*ends[1:], ends[0]), strict=True):
            if here.strip() != there.strip():
                raise OptionError(
                    f"clockwise along the edge {here!r} begins and {there!r} ends at the next break",
                    field="--divisions",
                    remedy="Name each break by the division that ends there and the one that begins, clockwise.",
                )
        return cls(tuple(name.strip() for name in begins), edge=edge, starts=tuple(along[order].tolist()))

    def assign(self, longitude: Floats, latitude: Floats) -> NDArray[np.object_]:
        """Return the division of each position; empty where it lies in none or is unknown."""
        found = np.full(len(longitude), "", dtype=object)
        is_placed = np.isfinite(longitude) & np.isfinite(latitude)
        if not is_placed.any():
            return found
        if self.edge is None:
            for name, area in zip(reversed(self.names), reversed(self.areas), strict=True):
                found[_lie_in(area, longitude, latitude)] = name
            return found
        found[is_placed] = self._assign_by_edge(longitude[is_placed], latitude[is_placed])
        return found

    def _assign_by_edge(self, longitude: Floats, latitude: Floats) -> NDArray[np.object_]:
        from shapely import line_locate_point, points

        frame, flat = _flatten(self.edge)
        along = line_locate_point(flat, points(*frame.to_metres(longitude, latitude)))
        # Before the first break lies the arc that the last one begins.
        arc = np.searchsorted(self.starts, along, side="right") - 1
        names: NDArray[np.object_] = np.array(self.names, dtype=object)
        return np.asarray(names[arc], dtype=object)


def _lie_in(area: BaseGeometry, longitude: Floats, latitude: Floats) -> NDArray[np.bool_]:
    import shapely

    frame = LocalFrame.around(*shapely.get_coordinates(area).T)
    flat = frame.geometry_to_metres(area)
    shapely.prepare(flat)
    return np.asarray(shapely.intersects_xy(flat, *frame.to_metres(longitude, latitude)), np.bool_)


def _find_outer_edge(area: BaseGeometry) -> Any:
    from shapely.geometry import LinearRing

    frame = LocalFrame.around(*_coordinates(area).T)
    flat = frame.geometry_to_metres(area)
    largest = max(getattr(flat, "geoms", [flat]), key=lambda part: part.area)
    ring = LinearRing(largest.exterior.coords)
    clockwise = ring.reverse() if ring.is_ccw else ring
    return frame.geometry_to_degrees(clockwise)


def _flatten(edge: Any) -> tuple[LocalFrame, Any]:
    frame = LocalFrame.around(*_coordinates(edge).T)
    return frame, frame.geometry_to_metres(edge)


def _coordinates(geometry: Any) -> Floats:
    import shapely

    return np.asarray(shapely.get_coordinates(geometry), np.float64)


def _refuse_far(places: Places, rows: list[int], distance_m: Floats) -> None:
    far = int(np.argmax(distance_m))
    if distance_m[far] > FARTHEST_BREAK_M:
        raise OptionError(
            f"the break {places.name[rows[far]]!r} lies {distance_m[far]:.0f} m from the edge",
            field="--divisions",
            remedy=f"A break lies on the edge, within {FARTHEST_BREAK_M:.0f} m of it. Is the perimeter the right one?",
        )
