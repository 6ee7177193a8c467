"""A picture of a merge: what each sortie saw, the spots that came of it, the shifts, and what wants a person's eye.

Every sortie has a marker shape as well as a colour, and spots are told by shape, so that it can be read in black and
white. The colours are those of Okabe and Ito (Wong, Nature Methods 8:441, 2011).
"""

from __future__ import annotations

import io
import itertools
import math
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from exchange.geo.frame import LocalFrame
from exchange.merge.coverage import NOT_SEEN_AGAIN
from exchange.merge.label_places import place_labels
from exchange.merge.listing import FLAGS, SPOT
from exchange.merge.merged import Merged
from exchange.merge.report import SortieReport
from exchange.merge.writing import SHIFT_EAST, SHIFT_NORTH
from exchange.model.detections import Detections

Floats = NDArray[np.float64]

CAUTION: Final = (
    "An aid only. A spot may be none, and heat that no sortie saw is not here. "
    "The incident's command, licensed practice and local rules decide."
)
MARKERS: Final = ("o", "s", "^", "D", "v", "P", "X", "<", ">", "h")
COLORS: Final = ("#0072B2", "#D55E00", "#009E73", "#CC79A7", "#56B4E9", "#E69F00", "#7A6A00")
MOST_DRAWN: Final = 40_000
WIDTH_INCHES: Final = 11.0
HEIGHT_INCHES: Final = 12.4
MOST_LABELS: Final = 900
FEW_FLAGGED: Final = 60
_LABEL_POINTS: Final = 6.5
_SMALLEST_VIEW_M: Final = 30.0


def draw_merge(merged: Merged, *, spots: Detections | None = None, title: str = "") -> bytes:
    """Return a PNG picture that shows in one look what was put together and what is doubtful.

    Parameters
    ----------
    merged
        What a merge returned.
    spots
        The list with further columns, such as what was not seen again; by default the merge's own.
    title
        First words above the picture, such as the fire's name.

    Raises
    ------
    CoordinateError
        If no row has a position, or they lie all around the earth.
    """
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    spots = merged.spots if spots is None else spots
    frame = LocalFrame.around(spots.longitude, spots.latitude)
    figure = Figure(figsize=(WIDTH_INCHES, HEIGHT_INCHES), dpi=120)
    FigureCanvasAgg(figure)
    axes = figure.add_axes((0.03, 0.24, 0.94, 0.70))
    axes.set(aspect="equal", xticks=[], yticks=[])
    view = _set_view(axes, frame, spots)
    styles = _styles(merged.report.sorties)
    _draw_sightings(axes, frame, merged, styles)
    left_out = _draw_spots(axes, frame, spots, view)
    _draw_scale_and_north(axes, view)
    _draw_shifts(figure, merged.report.sorties, styles)
    _write_words(figure, axes, merged, title, left_out)
    written = io.BytesIO()
    figure.savefig(written, format="png")
    return written.getvalue()


def _styles(sorties: tuple[SortieReport, ...]) -> dict[str, tuple[str, str]]:
    pairs = zip(itertools.cycle(MARKERS), itertools.cycle(COLORS), strict=False)
    return {one.sortie: pair for one, pair in zip(sorties, pairs, strict=False)}


def _set_view(axes: Any, frame: LocalFrame, spots: Detections) -> tuple[float, float, float, float]:
    """Show all spots with some room, in the shape of the axes, and return west, east, south, north."""
    x, y = (values[np.isfinite(values)] for values in frame.to_metres(spots.longitude, spots.latitude))
    place = axes.get_position(original=True)
    width, height = place.width * WIDTH_INCHES, place.height * HEIGHT_INCHES
    half = max(np.ptp(x) / 2.0 / width, np.ptp(y) / 2.0 / height, _SMALLEST_VIEW_M / 2.0 / width) * 1.1
    middle_x, middle_y = (x.min() + x.max()) / 2.0, (y.min() + y.max()) / 2.0
    view = (
        float(middle_x - half * width),
        float(middle_x + half * width),
        float(middle_y - half * height),
        float(middle_y + half * height),
    )
    axes.set(xlim=view[:2], ylim=view[2:])
    return view


def _draw_sightings(axes: Any, frame: LocalFrame, merged: Merged, styles: dict[str, tuple[str, str]]) -> None:
    """Draw each sighting where it lies once its sortie's shift is taken off."""
    seen = merged.sightings
    x, y = frame.to_metres(seen.longitude, seen.latitude)
    x, y = x - _numbers(seen, SHIFT_EAST), y - _numbers(seen, SHIFT_NORTH)
    every = max(1, len(seen) // MOST_DRAWN)
    _link_to_spots(axes, frame, merged, np.column_stack([x, y])[::every], seen.extra[SPOT][::every])
    names = np.where(seen.sortie != "", seen.sortie, seen.aircraft)
    for name, (marker, color) in styles.items():
        rows = np.flatnonzero(names == name)[::every]
        axes.plot(
            x[rows], y[rows], linestyle="", marker=marker, markersize=5.0, markerfacecolor="none",
            markeredgecolor=color, markeredgewidth=0.9, zorder=2,
        )  # fmt: skip


def _link_to_spots(axes: Any, frame: LocalFrame, merged: Merged, places: Floats, numbers: Any) -> None:
    """Draw a thin line from each sighting to its spot."""
    from matplotlib.collections import LineCollection

    row = {number: index for index, number in enumerate(merged.spots.id.tolist())}
    spot = np.array([row.get(number, -1) for number in numbers.tolist()], np.int64)
    known = (spot >= 0) & np.isfinite(places).all(axis=1)
    centres = np.column_stack(frame.to_metres(merged.spots.longitude, merged.spots.latitude))
    lines = np.stack([places[known], centres[spot[known]]], axis=1)
    axes.add_collection(LineCollection(list(lines), colors="0.6", linewidths=0.6, zorder=1))


def _draw_spots(axes: Any, frame: LocalFrame, spots: Detections, view: tuple[float, float, float, float]) -> int:
    """Draw the spots with their numbers; return how many numbers found no room."""
    from matplotlib.patheffects import withStroke

    x, y = frame.to_metres(spots.longitude, spots.latitude)
    flagged = np.array([bool(text) for text in spots.extra.get(FLAGS, np.full(len(spots), ""))], bool)
    missed = np.nan_to_num(_numbers(spots, NOT_SEEN_AGAIN)) > 0
    for chosen, fill in ((~missed, "black"), (missed, "white")):
        axes.plot(x[chosen], y[chosen], linestyle="", marker=".", markersize=5.5, markerfacecolor=fill,
                  markeredgecolor="black", markeredgewidth=0.7, zorder=4)  # fmt: skip
    ring = 15.0 if flagged.sum() <= FEW_FLAGGED else 9.5
    axes.plot(x[flagged], y[flagged], linestyle="", marker="o", markersize=ring, markerfacecolor="none",
              markeredgecolor="black", markeredgewidth=1.1, zorder=3)  # fmt: skip
    points_per_metre = axes.get_position(original=True).width * WIDTH_INCHES * 72.0 / (view[1] - view[0])
    order = np.lexsort([np.arange(len(x)), ~flagged])[:MOST_LABELS]
    room = np.where(flagged, ring / 2.0 + 1.0, 4.0)
    halo = [withStroke(linewidth=1.6, foreground="white")]
    places = place_labels(x * points_per_metre, y * points_per_metre, spots.id, order, room, _LABEL_POINTS)
    for row, (across, up) in places.items():
        axes.annotate(
            spots.id[row], (x[row], y[row]), (across, up), textcoords="offset points", ha="center", va="center",
            fontsize=_LABEL_POINTS, fontweight="bold" if flagged[row] else "normal", zorder=5, path_effects=halo,
        )  # fmt: skip
    return len(x) - len(places)


def _draw_shifts(figure: Any, sorties: tuple[SortieReport, ...], styles: dict[str, tuple[str, str]]) -> None:
    """Draw how far each sortie lay off as an arrow from the middle, on rings of metres."""
    axes = figure.add_axes((0.03, 0.045, 0.18, 0.16))
    found = [one for one in sorties if one.shift_applied and math.isfinite(one.shift_east_m + one.shift_north_m)]
    longest = max([math.hypot(one.shift_east_m, one.shift_north_m) for one in found], default=0.0)
    step = _round_down(max(longest, 1.0) / 1.5)
    reach = max(math.ceil(longest / step), 1) * step
    turn = np.linspace(0.0, 2.0 * np.pi, 121)
    for radius in np.arange(step, reach + step / 2.0, step):
        axes.plot(radius * np.cos(turn), radius * np.sin(turn), color="0.7", linewidth=0.6, zorder=1)
        axes.text(0.0, -radius, f"{radius:g} m", fontsize=6, ha="center", va="center", zorder=2,
                  bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.6})  # fmt: skip
    for one in found:
        marker, color = styles[one.sortie]
        tip = (one.shift_east_m, one.shift_north_m)
        axes.annotate("", tip, (0.0, 0.0), arrowprops={"arrowstyle": "->", "color": color, "linewidth": 1.4}, zorder=3)
        axes.plot(*tip, marker=marker, markersize=6.0, markerfacecolor="white", markeredgecolor=color, zorder=4)
    axes.set(
        aspect="equal", xticks=[], yticks=[], xlim=(-1.25 * reach, 1.25 * reach), ylim=(-1.25 * reach, 1.25 * reach)
    )
    axes.set_title("shift taken off each sortie", fontsize=8)


def _draw_scale_and_north(axes: Any, view: tuple[float, float, float, float]) -> None:
    west, east, south, north = view
    length = _round_down((east - west) / 4.0)
    left, low = west + 0.025 * (east - west), south + 0.025 * (north - south)
    tick = 0.006 * (north - south)
    box = {"facecolor": "white", "edgecolor": "none", "pad": 1.5, "alpha": 0.85}
    axes.plot([left, left, left + length, left + length], [low + tick, low, low, low + tick], color="black",
              linewidth=1.6, zorder=6)  # fmt: skip
    axes.text(left + length / 2.0, low + 1.4 * tick, f"{length:g} m", ha="center", va="bottom", fontsize=9, zorder=6,
              bbox=box)  # fmt: skip
    x, top = east - 0.03 * (east - west), north - 0.02 * (north - south)
    axes.annotate("N", (x, top), (x, top - 0.06 * (north - south)), ha="center", va="center", fontsize=12, zorder=6,
                  arrowprops={"arrowstyle": "-|>", "color": "black", "linewidth": 1.6}, bbox=box)  # fmt: skip


def _write_words(figure: Any, axes: Any, merged: Merged, title: str, left_out: int) -> None:
    report = merged.report
    head = f"{title}: " if title else ""
    figure.text(0.03, 0.966, f"{head}{report.spots} spots of {report.sightings} sightings", fontsize=14, weight="bold")
    told = [f"{report.flagged} flagged, {report.kept} numbers kept, {report.new} new"]
    told += [f"{left_out} numbers found no room here"] if left_out else []
    told += ["sightings stand where they lie once the shift is taken off"]
    figure.text(0.03, 0.949, "; ".join(told) + ".", fontsize=9)
    figure.legend(handles=_legend(report.sorties), loc="upper left", bbox_to_anchor=(0.23, 0.235), fontsize=8, ncol=2,
                  frameon=False, columnspacing=2.5)  # fmt: skip
    figure.text(0.03, 0.014, CAUTION, fontsize=8, style="italic")


def _legend(sorties: tuple[SortieReport, ...]) -> list[Any]:
    handles = []
    for one, (marker, color) in zip(sorties, _styles(sorties).values(), strict=False):
        shift = math.hypot(one.shift_east_m, one.shift_north_m)
        told = f"shift {shift:.1f} m" if one.shift_applied and math.isfinite(shift) else "no shift taken off"
        label = f"{one.sortie or 'no sortie named'}: {one.sightings} sightings, {told}"
        handles.append(_handle(label, marker=marker, markerfacecolor="none", markeredgecolor=color))
    handles.append(_handle("spot", marker=".", markerfacecolor="black"))
    handles.append(_handle("not seen again", marker=".", markersize=8, markerfacecolor="white"))
    handles.append(_handle("wants a person's eye", marker="o", markersize=12, markerfacecolor="none"))
    return handles


def _handle(label: str, **style: Any) -> Any:
    from matplotlib.lines import Line2D

    return Line2D([], [], linestyle="", label=label, **{"markeredgecolor": "black", **style})


def _numbers(rows: Detections, name: str) -> Floats:
    column = rows.extra.get(name)
    if column is None:
        return np.zeros(len(rows))
    return np.nan_to_num(np.array([np.nan if value is None else value for value in column.tolist()], np.float64))


def _round_down(length: float) -> float:
    """Return the largest of 1, 2 and 5 times a power of ten that is not above a length."""
    power = 10.0 ** math.floor(math.log10(length))
    return max(step * power for step in (1.0, 2.0, 5.0) if step * power <= length * (1.0 + 1e-9))
