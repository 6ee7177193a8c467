"""Geometries other than a single point: XML to lines, polygons and points."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from exchange_kml.coordinates import Faults, parse_line
from exchange_kml.names import name_of
from exchange_kml.styles import parse_elements

if TYPE_CHECKING:
    from lxml.etree import _Element

OPEN_RING = "a ring does not end where it begins; it is closed now"
SHORT_RING = "a ring has fewer than three corners; it is left out"
NO_OUTER = "a polygon has no outer ring; it is left out"
SHORT_LINE = "a line has fewer than two positions"
OFF_EARTH = "an edge leaves the earth; the polygon is left out"
SWAPPED = "an edge leaves the earth, latitude and longitude look swapped; the polygon is left out"
HEIGHTS = "a perimeter's corners carry heights, which a perimeter has no place for"


@dataclass(frozen=True)
class Line:
    """One line as read: positions of shape (n, 3), and what its heights are measured from."""

    positions: NDArray[np.float64]
    altitude_mode: str


@dataclass
class Geometry:
    """What one placemark holds beside the tracks that stream out of it.

    Attributes
    ----------
    points
        Coordinates of each point as text, with its altitude mode.
    lines
        In order.
    polygons
        shapely polygons, in order.
    skipped
        Names of parts that hold nothing the trade exchanges.
    flags
        Extrude and tessellate of the first part that states them.
    faults
        Which rules were broken.
    """

    points: list[tuple[str, str]] = field(default_factory=list)
    lines: list[Line] = field(default_factory=list)
    polygons: list[Any] = field(default_factory=list)
    skipped: list[str] = field(default_factory=list)
    flags: dict[str, str] = field(default_factory=dict)
    faults: Faults = field(default_factory=Faults)


def read_geometry(xml: str) -> Geometry:
    """Read the geometries of one placemark, whatever they are nested in.

    Raises
    ------
    ReadError
        When the text is no well-formed XML.
    """
    geometry = Geometry()
    for element in parse_elements(xml):
        _read_part(element, geometry)
    return geometry


def _read_part(element: _Element, geometry: Geometry) -> None:
    kind = name_of(element.tag)
    for flag in ("extrude", "tessellate", "altitudeMode"):
        text = _child_text(element, flag)
        if text:
            geometry.flags.setdefault(flag, text)
    if kind == "Point":
        geometry.points.append((_child_text(element, "coordinates"), _child_text(element, "altitudeMode")))
    elif kind in ("LineString", "LinearRing"):
        _read_line(element, geometry)
    elif kind == "Polygon":
        _read_polygon(element, geometry)
    elif kind == "MultiGeometry":
        for child in element:
            _read_part(child, geometry)
    elif kind == "Model":
        geometry.skipped.append(kind)


def _read_line(element: _Element, geometry: Geometry) -> None:
    positions = parse_line(_child_text(element, "coordinates"), geometry.faults)
    if len(positions) < 2:
        geometry.faults.add(SHORT_LINE, 0, _child_text(element, "coordinates"))
    if len(positions):
        geometry.lines.append(Line(positions, _child_text(element, "altitudeMode")))


def _read_polygon(element: _Element, geometry: Geometry) -> None:
    from shapely.geometry import Polygon

    rings: dict[str, list[NDArray[np.float64]]] = {"outerBoundaryIs": [], "innerBoundaryIs": []}
    for boundary in element:
        for ring in boundary:
            corners = _read_ring(ring, geometry.faults) if name_of(ring.tag) == "LinearRing" else None
            if corners is not None and name_of(boundary.tag) in rings:
                rings[name_of(boundary.tag)].append(corners)
    outer, holes = rings["outerBoundaryIs"], rings["innerBoundaryIs"]
    if not outer:
        geometry.faults.add(NO_OUTER, 0, "")
        return
    fault = _find_off_earth([*outer, *holes])
    if fault:
        geometry.faults.add(fault, 0, f"{float(outer[0][0, 0])!r},{float(outer[0][0, 1])!r}")
        return
    geometry.polygons += [Polygon(outer[0], holes), *(Polygon(corners) for corners in outer[1:])]


def _read_ring(ring: _Element, faults: Faults) -> NDArray[np.float64] | None:
    positions = parse_line(_child_text(ring, "coordinates"), faults)
    corners = positions[:, :2]
    if len(corners) and (corners[0] != corners[-1]).any():
        faults.add(OPEN_RING, 0, f"{float(corners[0, 0])!r},{float(corners[0, 1])!r}")
        corners = np.vstack([corners, corners[:1]])
    if len(corners) < 4:
        faults.add(SHORT_RING, 0, _child_text(ring, "coordinates"))
        return None
    heights = positions[:, 2]
    if (~np.isnan(heights) & (heights != 0)).any():
        faults.add(HEIGHTS, 0, f"{float(np.nanmax(heights))!r}")
    return np.ascontiguousarray(corners)


def _find_off_earth(rings: list[NDArray[np.float64]]) -> str:
    corners = np.vstack(rings)
    if (np.abs(corners) <= (180, 90)).all():
        return ""
    return SWAPPED if (np.abs(corners[:, ::-1]) <= (180, 90)).all() else OFF_EARTH


def _child_text(element: _Element, name: str) -> str:
    return next(((child.text or "").strip() for child in element if name_of(child.tag) == name), "")
