"""Invented edges of burns in flat metres: smooth, lobed, with a waist, with islands, two fires of one incident."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import LineString, Point, Polygon

Floats = NDArray[np.float64]
ACRE_M2 = 4046.8564224
_STEP_M = 1.5
_NECK_M = 12.0


@dataclass(frozen=True)
class Ring:
    """One closed edge: corners (n, 2) counter-clockwise and not repeated at the end, as densely as it bends."""

    corners: Floats
    is_island: bool = False

    @property
    def polygon(self) -> Polygon:
        """The area inside."""
        return Polygon(self.corners)

    @property
    def length(self) -> float:
        """Metres around."""
        return float(self._positions()[-1])

    def at(self, along_m: Floats) -> Floats:
        """Return places at distances along the ring; distances beyond its length go round again."""
        closed, positions = np.vstack([self.corners, self.corners[:1]]), self._positions()
        wanted = np.mod(along_m, positions[-1])
        return np.column_stack([np.interp(wanted, positions, column) for column in closed.T])

    def nearest(self, place: Floats) -> float:
        """Return how far along the ring the point nearest to a place lies."""
        return float(LineString(np.vstack([self.corners, self.corners[:1]])).project(Point(place)))

    def _positions(self) -> Floats:
        closed = np.vstack([self.corners, self.corners[:1]])
        return np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(closed, axis=0).T))])


@dataclass(frozen=True)
class Edge:
    """The truth of one case: outer rings first, then islands.

    Attributes
    ----------
    rings
        All edges.
    waist
        Where the two sides of a narrow waist lie along the first ring, in metres; empty without one.
    """

    rings: tuple[Ring, ...]
    waist: tuple[float, ...] = ()

    @property
    def area(self) -> shapely.Geometry:
        """The burned ground: outer rings without the islands."""
        outer = shapely.union_all([ring.polygon for ring in self.rings if not ring.is_island])
        islands = shapely.union_all([ring.polygon for ring in self.rings if ring.is_island])
        return outer.difference(islands)


def smooth(random: np.random.Generator, acres: float) -> Edge:
    """Return a ragged round edge, its waves the lower the shorter they are."""
    return Edge((_first_simple(lambda: _blob(random, acres, lobes=0.0)),))


def lobed(random: np.random.Generator, acres: float) -> Edge:
    """Return an edge with several fingers."""
    return Edge((_first_simple(lambda: _blob(random, acres, lobes=random.uniform(0.2, 0.42))),))


def any_edge(random: np.random.Generator, acres: float) -> Edge:
    """Return a smooth or a lobed edge."""
    return smooth(random, acres) if random.random() < 0.5 else lobed(random, acres)


def with_islands(random: np.random.Generator, edge: Edge, count: int = 1) -> Edge:
    """Put unburned islands into the first ring, apart from each other and from the edge."""
    room, islands = edge.rings[0].polygon, []
    for _ in range(count):
        reach = _widest_m(room)
        place = _somewhere_in(random, room.buffer(-0.75 * reach))
        acres = np.pi * (0.5 * reach) ** 2 / ACRE_M2 * random.uniform(0.4, 1.0)
        shape = _first_simple(lambda acres=acres: _blob(random, acres, lobes=0.0))
        island = Ring(shape.corners * min(1.0, 0.62 * reach / np.hypot(*shape.corners.T).max()) + place, True)
        islands.append(island)
        room = room.difference(island.polygon.buffer(0.2 * reach))
    return Edge((*edge.rings, *islands))


def two_fires(random: np.random.Generator, acres: float, other_acres: float) -> Edge:
    """Return two edges some way apart."""
    first, second = any_edge(random, acres).rings[0], any_edge(random, other_acres).rings[0]
    turn = random.uniform(0, 2 * np.pi)
    ahead = np.array([np.cos(turn), np.sin(turn)])
    apart = (first.corners @ ahead).max() - (second.corners @ ahead).min() + random.uniform(60.0, 400.0)
    return Edge((first, Ring(second.corners + apart * ahead)))


def waisted(random: np.random.Generator, acres: float) -> Edge:
    """Return two bodies joined by a narrow waist, some 8-20 m wide."""
    width = random.uniform(8.0, 20.0)
    while True:
        bodies = [_blob(random, acres * share, lobes=0.0).corners for share in (0.5, random.uniform(0.25, 0.5))]
        apart = bodies[0][:, 0].max() - bodies[1][:, 0].min() + random.uniform(0.5, 1.5) * width
        bodies[1] = bodies[1] + [apart, 0.0]
        middle = (bodies[0][:, 0].max() + bodies[1][:, 0].min()) / 2
        corridor = LineString([[0.0, 0.0], [apart, 0.0]]).buffer(width / 2, cap_style="flat")
        joined = shapely.union_all([Polygon(body) for body in bodies] + [corridor])
        rounded = joined.buffer(width / 3).buffer(-2 * width / 3).buffer(width / 3)
        if rounded.geom_type == "Polygon" and not rounded.interiors:
            ring = Ring(_resample(np.asarray(shapely.orient_polygons(rounded).exterior.coords)[:-1]))
            sides = sorted(ring.nearest(np.array([middle, y])) for y in (-width / 2, width / 2))
            return Edge((ring,), tuple(sides))


def _blob(random: np.random.Generator, acres: float, *, lobes: float) -> Ring:
    radius = np.sqrt(acres * ACRE_M2 / np.pi)
    waves = int(np.clip(2 * np.pi * radius / 35.0, 5, 90))
    angle = np.linspace(0.0, 2 * np.pi, 4096, endpoint=False)
    number = np.arange(2, waves + 1)
    height = random.uniform(0.1, 0.3) * random.uniform(0.3, 1.0, len(number)) * number**-1.25
    phase = random.uniform(0, 2 * np.pi, len(number))
    reach = 1.0 + (height[:, None] * np.cos(number[:, None] * angle + phase[:, None])).sum(axis=0)
    if lobes:
        reach = reach * (1.0 + lobes * np.cos(random.integers(3, 7) * angle + random.uniform(0, 2 * np.pi)))
    stretch, bend = random.uniform(1.0, 1.8), random.uniform(0.0, 0.12)
    x, y = reach * np.cos(angle) * np.sqrt(stretch), reach * np.sin(angle) / np.sqrt(stretch)
    x, y = x + bend * np.sin(3.0 * y + random.uniform(0, 6)), y + bend * np.sin(3.0 * x + random.uniform(0, 6))
    turn = random.uniform(0, 2 * np.pi)
    corners = np.column_stack([x, y]) @ np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    return Ring(_resample(corners * np.sqrt(acres * ACRE_M2 / abs(_shoelace(corners)))))


def _first_simple(make: Callable[[], Ring]) -> Ring:
    """Return the first ring without a crossing and without a neck that no receiver could tell from a line."""
    while True:
        ring = make()
        area = ring.polygon
        if area.is_valid:
            opened = area.buffer(-_NECK_M / 2).buffer(_NECK_M / 2)
            closed = area.buffer(_NECK_M / 2).buffer(-_NECK_M / 2)
            whole = opened.geom_type == "Polygon" and not closed.interiors
            if whole and opened.area > 0.98 * area.area and closed.area < 1.02 * area.area:
                return ring


def _resample(corners: Floats) -> Floats:
    """Return corners about every ``_STEP_M``, counter-clockwise."""
    ordered = corners if _shoelace(corners) > 0 else corners[::-1]
    ring = Ring(ordered)
    return ring.at(np.linspace(0.0, ring.length, max(48, round(ring.length / _STEP_M)), endpoint=False))


def _shoelace(corners: Floats) -> float:
    x, y = corners.T
    return float(np.sum(x * np.roll(y, -1) - y * np.roll(x, -1)) / 2)


def _widest_m(area: shapely.Geometry) -> float:
    """Return the radius of the largest circle inside."""
    return float(shapely.maximum_inscribed_circle(area, tolerance=1.0).length)


def _somewhere_in(random: np.random.Generator, area: shapely.Geometry) -> Floats:
    west, south, east, north = area.bounds
    while True:
        place = np.array([random.uniform(west, east), random.uniform(south, north)])
        if area.contains(Point(place)):
            return place
