"""The small map of the sheet: the perimeter, the spots with their numbers, a scale bar and north."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, TypeAlias

import numpy as np

from exchange.geo.frame import LocalFrame
from exchange.geo.units import convert
from exchange.handout.paper.boxes import POINT_MM, Box, Writer
from exchange.handout.paper.typeface import FAMILY

if TYPE_CHECKING:
    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry

    from exchange.model.detections import Detections

Floats: TypeAlias = "NDArray[np.float64]"

NUMBER_PT: Final = 6.5
SPOT_MM: Final = 0.6
EDGE_STEP_MM: Final = 1.0
SMALLEST_EXTENT_M: Final = 50.0
BAR_SHARE: Final = 0.3
STRIP_MM: Final = 10.0
"""Height of the strip below the map that the scale bar stands in."""


@dataclass(frozen=True)
class _Scale:
    """Place metres of the local frame on the page."""

    box: Box
    center_x: float
    center_y: float
    mm_per_m: float

    def place(self, x: Floats, y: Floats) -> tuple[Floats, Floats]:
        middle_x, middle_y = self.box.x + self.box.width / 2, self.box.y + self.box.height / 2
        return middle_x + (x - self.center_x) * self.mm_per_m, middle_y - (y - self.center_y) * self.mm_per_m


def draw_overview(writer: Writer, box: Box, spots: Detections, area: BaseGeometry | None) -> int:
    """Draw the map into a box, north up; return how many numbers found no room beside their spot."""
    pdf = writer.pdf
    pdf.set_line_width(0.2)
    pdf.rect(box.x, box.y, box.width, box.height)
    is_known = np.isfinite(spots.longitude) & np.isfinite(spots.latitude)
    longitude, latitude = spots.longitude[is_known], spots.latitude[is_known]
    if not len(longitude):
        writer.write(box.inset(3.0), "no positions to draw", size_pt=9)
        return 0
    frame = LocalFrame.around(longitude, latitude)
    x, y = frame.to_metres(longitude, latitude)
    rings = [] if area is None or area.is_empty else list(_find_rings(frame.geometry_to_metres(area)))
    scale = _fit(Box(box.x + 5.0, box.y + 5.0, box.width - 10.0, box.height - 5.0 - STRIP_MM), x, y, rings)
    with pdf.rect_clip(box.x, box.y, box.width, box.height):
        _draw_rings(writer, scale, rings)
        across, down = scale.place(x, y)
        for dot_x, dot_y in zip(across.tolist(), down.tolist(), strict=True):
            pdf.set_fill_color(0)
            pdf.circle(dot_x, dot_y, SPOT_MM, style="F")
    numbers = _shorten(spots.id[is_known].tolist())
    unlabelled = _draw_numbers(writer, box, (across, down), _spread_along(rings, scale), numbers)
    _draw_scale_bar(writer, box, scale)
    _draw_north(writer, box)
    return unlabelled


def _find_rings(area: BaseGeometry) -> Iterator[tuple[Floats, bool]]:
    """Yield every ring of an area in metres, and whether it is the edge of an island."""
    import shapely

    for polygon in shapely.get_parts(area):
        yield shapely.get_coordinates(polygon.exterior), False
        for ring in polygon.interiors:
            yield shapely.get_coordinates(ring), True


def _fit(box: Box, x: Floats, y: Floats, rings: list[tuple[Floats, bool]]) -> _Scale:
    """Choose the scale at which all spots and the whole perimeter fit."""
    every = np.vstack([np.column_stack([x, y]), *(ring for ring, _ in rings)])
    low, high = every.min(axis=0), every.max(axis=0)
    extent = np.maximum(high - low, SMALLEST_EXTENT_M)
    mm_per_m = float(min(box.width / extent[0], box.height / extent[1]))
    center = (low + high) / 2
    return _Scale(box, float(center[0]), float(center[1]), mm_per_m)


def _draw_rings(writer: Writer, scale: _Scale, rings: list[tuple[Floats, bool]]) -> None:
    pdf = writer.pdf
    for ring, is_island in rings:
        across, down = scale.place(ring[:, 0], ring[:, 1])
        pdf.set_line_width(0.3 if is_island else 0.6)
        pdf.set_dash_pattern(dash=1.2, gap=0.8) if is_island else pdf.set_dash_pattern()
        pdf.polygon(list(zip(across.tolist(), down.tolist(), strict=True)), style="D")
    pdf.set_dash_pattern()
    pdf.set_line_width(0.2)


def _draw_numbers(writer: Writer, box: Box, spots: tuple[Floats, Floats], edge: Floats, numbers: list[str]) -> int:
    """Write each number beside its spot wherever it covers nothing, the edge last; count those without room."""
    pdf = writer.pdf
    pdf.set_font(FAMILY, "", NUMBER_PT)
    height = NUMBER_PT * POINT_MM
    across, down = spots
    taken = np.column_stack([across - SPOT_MM, down - SPOT_MM, across + SPOT_MM, down + SPOT_MM])
    taken = np.vstack([taken, _reserved(box)])
    unlabelled = 0
    for x, y, number in zip(across.tolist(), down.tolist(), map(writer.typeface.to_printable, numbers), strict=True):
        width = float(pdf.get_string_width(number))
        corners = _corners_beside(x, y, width, height)
        free = corners[_is_free(corners, taken, box)]
        if not len(free):
            unlabelled += 1
            continue
        off_edge = free[_is_free(free, edge, box)]
        chosen = (off_edge if len(off_edge) else free)[0]
        taken = np.vstack([taken, chosen])
        pdf.set_xy(*chosen[:2].tolist())
        pdf.cell(width, height, number)
    return unlabelled


def _corners_beside(x: float, y: float, width: float, height: float) -> Floats:
    """Return the eight rectangles around a spot, left, top, right and bottom each, the best to read first."""
    gap = SPOT_MM + 0.4
    lefts = np.array([gap, -gap - width, -width / 2, -width / 2, gap, gap, -gap - width, -gap - width]) + x
    tops = np.array([-height / 2, -height / 2, -gap - height, gap, -height, 0.0, -height, 0.0]) + y
    return np.column_stack([lefts, tops, lefts + width, tops + height])


def _is_free(rectangles: Floats, taken: Floats, box: Box) -> NDArray[np.bool_]:
    """Return which rectangles lie in the box and on none of those that are taken."""
    left, top, right, bottom = rectangles.T[:, :, None]
    covers = (taken[:, 0] < right) & (taken[:, 2] > left) & (taken[:, 1] < bottom) & (taken[:, 3] > top)
    is_across = (box.x < left) & (right < box.x + box.width)
    is_down = (box.y < top) & (bottom < box.y + box.height)
    return np.asarray(~covers.any(axis=1) & (is_across & is_down)[:, 0])


def _spread_along(rings: list[tuple[Floats, bool]], scale: _Scale) -> Floats:
    """Return small rectangles along the edges as they are drawn, so that a number can keep off them."""
    spread = [np.empty((0, 2))]
    for ring, _ in rings:
        across, down = scale.place(ring[:, 0], ring[:, 1])
        along = np.concatenate([[0.0], np.hypot(np.diff(across), np.diff(down)).cumsum()])
        at = np.arange(0.0, along[-1], EDGE_STEP_MM)
        spread.append(np.column_stack([np.interp(at, along, across), np.interp(at, along, down)]))
    points = np.vstack(spread)
    return np.column_stack([points - EDGE_STEP_MM / 2, points + EDGE_STEP_MM / 2])


def _shorten(numbers: list[str]) -> list[str]:
    """Return the numbers without their series where all share one, so that more find room."""
    series = {number.rpartition("-")[0] for number in numbers}
    return [number.rpartition("-")[2] for number in numbers] if len(series) == 1 else numbers


def _reserved(box: Box) -> Floats:
    bottom, right = box.y + box.height, box.x + box.width
    return np.array([(box.x, bottom - STRIP_MM, right, bottom), (right - 9.0, box.y, right, box.y + 12.0)])


def _draw_scale_bar(writer: Writer, box: Box, scale: _Scale) -> None:
    length_m = _round_down(box.width * BAR_SHARE / scale.mm_per_m)
    length_mm = length_m * scale.mm_per_m
    x, y = box.x + 3.0, box.y + box.height - 3.0
    pdf = writer.pdf
    pdf.set_fill_color(0)
    pdf.rect(x, y - 0.6, length_mm / 2, 1.2, style="F")
    pdf.rect(x, y - 0.6, length_mm, 1.2, style="D")
    words = f"{length_m:g} m ({convert(length_m, 'm', 'ft'):.0f} ft)"
    writer.write(Box(x, y - 4.4, box.width, 3.4), words, size_pt=7)


def _round_down(length_m: float) -> float:
    """Return the largest of 1, 2, 5 times a power of ten that is no longer."""
    power = 10.0 ** np.floor(np.log10(length_m))
    return float(max(step * power for step in (1.0, 2.0, 5.0) if step * power <= length_m))


def _draw_north(writer: Writer, box: Box) -> None:
    x, y = box.x + box.width - 5.0, box.y + 2.0
    pdf = writer.pdf
    pdf.set_fill_color(0)
    pdf.polygon([(x, y), (x - 1.6, y + 5.0), (x, y + 4.0), (x + 1.6, y + 5.0)], style="F")
    writer.write(Box(x - 1.3, y + 5.2, 6.0, 4.0), "N", size_pt=8, is_bold=True)
