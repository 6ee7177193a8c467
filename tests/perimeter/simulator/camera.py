"""Flights beside the edge whose camera looks at it from the side."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from tests.perimeter.simulator.edges import Edge, Ring
from tests.perimeter.simulator.faults import slow_noise
from tests.perimeter.simulator.flight import Flight

Floats = NDArray[np.float64]


def straight_down(random: np.random.Generator, flight: Flight) -> Flight:
    """Log a height and a camera that looks down, sometimes the one or the other only."""
    count, height = len(flight), random.uniform(30.0, 110.0)
    known_height, known_camera = random.random() < 0.6, random.random() < 0.3
    return replace(
        flight,
        height=height + random.normal(0, 0.3, count) if known_height else flight.height,
        camera_pitch=np.full(count, -90.0) if known_camera else flight.camera_pitch,
        camera_heading=np.zeros(count) if known_camera else flight.camera_heading,
    )


def looks_aside(random: np.random.Generator, flight: Flight, hertz: float, side: float, height_m: float) -> Flight:
    """Fly beside the edge and log where the camera looks; on other legs it looks ahead.

    ``side`` is 1 for right of the direction of flight and -1 for left; the camera looks back at the edge.
    """
    edge, is_ring = flight.places, flight.doing == "ring"
    smooth = gaussian_filter1d(edge, max(1.0, 3.0 * hertz), axis=0, mode="nearest")
    ahead = np.gradient(smooth, axis=0)
    ahead /= np.maximum(np.hypot(*ahead.T), 1e-9)[:, None]
    offset = np.where(is_ring, height_m * random.uniform(0.8, 1.2), 0.0)[:, None]
    aside = edge + side * offset * np.column_stack([ahead[:, 1], -ahead[:, 0]])
    places = gaussian_filter1d(aside, max(0.5, 2.0 * hertz), axis=0, mode="nearest")
    look = edge - places
    course = np.degrees(np.arctan2(*np.gradient(places, axis=0).T)) % 360.0
    heading = np.where(is_ring, np.degrees(np.arctan2(*look.T)) % 360.0, course)
    pitch = np.where(is_ring, -np.degrees(np.arctan2(height_m, np.hypot(*look.T))), -20.0)
    count = len(flight)
    return replace(
        flight,
        places=places,
        height=height_m + slow_noise(random, count, hertz, 0.7, 20.0),
        camera_heading=(heading + random.normal(0, 0.5, count)) % 360.0,
        camera_pitch=pitch + random.normal(0, 0.2, count),
    )


def beside(edge: Edge, offset_m: float) -> Edge | None:
    """Return the line flown at a distance outside (negative: inside) of the first ring, or None where it breaks up."""
    area = edge.rings[0].polygon
    flown = area.buffer(offset_m, quad_segs=16)
    came_back = flown.buffer(-offset_m, quad_segs=16)
    same = came_back.symmetric_difference(area).area
    if flown.geom_type != "Polygon" or flown.interiors or same > 0.05 * area.area:
        return None
    corners = np.asarray(shapely.orient_polygons(flown).exterior.coords)[:-1]
    ring = Ring(corners)
    return Edge((Ring(ring.at(np.linspace(0, ring.length, max(48, round(ring.length / 1.5)), endpoint=False))),))


def wobbles(random: np.random.Generator, flight: Flight, hertz: float, height_m: float) -> Flight:
    """Let the angle of the camera wander by about two degrees, and log the height only."""
    count = len(flight)
    ahead = np.gradient(gaussian_filter1d(flight.places, max(1.0, hertz), axis=0), axis=0)
    ahead /= np.maximum(np.hypot(*ahead.T), 1e-9)[:, None]
    aside = slow_noise(random, count, hertz, 0.06 * height_m, 15.0)[:, None]
    moved = flight.places + aside * np.column_stack([ahead[:, 1], -ahead[:, 0]])
    return replace(flight, places=moved, height=height_m + slow_noise(random, count, hertz, 0.7, 20.0))
