"""The ceiling: a solver that is told the true label and the true place along the edge of every fix."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d
from shapely.geometry import Polygon

from tests.perimeter.simulator.case import Case
from tests.perimeter.simulator.flight import Flight

Floats = NDArray[np.float64]
_BIN_M = 2.0
_LONGEST_STEP_M = 60.0
SIMPLIFY_M = 0.3


def told_area(case: Case) -> shapely.Geometry:
    """Return the area that the labels give, in metres: no fix off the ring, in true order, laps averaged in bins."""
    areas = [_ring_area(case, number) for number in range(len(case.flown.rings))]
    is_island = [ring.is_island for ring in case.flown.rings]
    outer = shapely.union_all([area for area, island in zip(areas, is_island, strict=True) if not island])
    islands = shapely.union_all([area for area, island in zip(areas, is_island, strict=True) if island])
    return outer.buffer(-case.offset_m, quad_segs=16).difference(islands)


def _ring_area(case: Case, number: int) -> shapely.Geometry:
    length = case.flown.rings[number].length
    cells = max(8, round(length / _BIN_M))
    passes = [line for flight in case.flights for line in _passes(flight, number, length, cells)]
    known = ~np.isnan(passes).all(axis=(0, 2))
    line = np.nanmean(np.array(passes)[:, known], axis=0)
    return shapely.make_valid(shapely.simplify(Polygon(line), SIMPLIFY_M), method="structure", keep_collapsed=False)


def _passes(flight: Flight, number: int, length: float, cells: int) -> list[Floats]:
    """Return each pass along a ring, at most once around, as places at equal steps; NaN where it did not go."""
    looked_at = _looked_at(flight)
    lines = []
    for passing in np.unique(flight.passing[flight.ring == number]):
        rows = np.flatnonzero((flight.passing == passing) & (flight.doing == "ring"))
        along = flight.along_m[rows]
        for lap in np.unique(np.floor(along / length)):
            inside = np.abs(along - (lap + 0.5) * length) <= length / 2 + _LONGEST_STEP_M
            if inside.sum() >= 2:
                lines.append(_at_steps(along[inside] - lap * length, looked_at[rows[inside]], length, cells))
    return lines


def _at_steps(along: Floats, places: Floats, length: float, cells: int) -> Floats:
    width = length / cells
    cell, row = np.unique(np.floor(along / width).astype(np.int64), return_inverse=True)
    count = np.bincount(row)
    middle = np.bincount(row, along) / count
    wanted = (np.arange(cells) + 0.5) * width
    near = np.searchsorted(middle, wanted)
    before, after = middle[np.maximum(near - 1, 0)], middle[np.minimum(near, len(middle) - 1)]
    flown = (near > 0) & (near < len(middle)) & (after - before <= _LONGEST_STEP_M) | np.isin(np.arange(cells), cell)
    columns = [np.interp(wanted, middle, np.bincount(row, column) / count) for column in places.T]
    return np.where(flown[:, None], np.column_stack(columns), np.nan)


def _looked_at(flight: Flight) -> Floats:
    """Return where the camera looked on flat ground at the height of the launch, smoothed over about a second."""
    aside = np.isfinite(flight.camera_heading) & (flight.camera_pitch > -89.0)
    if not aside.any():
        return flight.places
    reach = np.where(aside, flight.height / np.tan(np.radians(np.where(aside, -flight.camera_pitch, 90.0))), 0.0)
    turn = np.radians(np.where(aside, flight.camera_heading, 0.0))
    offset = np.column_stack([reach * np.sin(turn), reach * np.cos(turn)])
    step = np.median(np.diff(flight.seconds)) if len(flight) > 1 else 1.0
    return flight.places + gaussian_filter1d(offset, max(0.3, 0.4 / step), axis=0, mode="nearest")
