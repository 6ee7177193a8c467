"""A picture of a trace: what was flown, what was removed, what was bridged, and the ring that came of it.

Every kind of thing differs in line style, marker or hatching as well as in colour, so that it can be read in black and
white. The colours are those of Okabe and Ito (Wong, Nature Methods 8:441, 2011).
"""

from __future__ import annotations

import io
import itertools
import math
import textwrap
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

from exchange.geo import units
from exchange.geo.frame import LocalFrame

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from exchange.model import Perimeter, Track
    from exchange.perimeter.finding import Finding
    from exchange.perimeter.traced import Traced

Floats = NDArray[np.float64]
_View = tuple[float, float, float, float]

CAUTION: Final = "An aid only. The incident's command, licensed practice and local rules decide."
_BLUE, _VERMILLION, _GREEN, _AMBER = "#0072B2", "#D55E00", "#009E73", "#E69F00"
_REMOVED_MARKERS: Final = ("x", "+", "1", "|", "v", "*")
_SHOWN_FINDINGS, _SHOWN_PLACES, _SHOWN_LENGTHS, _MOST_DRAWN = 4, 4, 8, 30_000
_MANY_REMOVED: Final = 150
_ROUND_THE_RING: Final = 0.35
_ROUND_A_DOUBTED_RING: Final = 2.0
_MOST_FLIGHT_ENDS: Final = 12
_NARROWEST: Final = 0.95
_SCALE_ROOM: Final = 0.07
_SAID_IN_KILOMETRES_M: Final = 5_000.0


def draw_trace(tracks: Sequence[Track], traced: Traced, *, title: str = "", earlier: Perimeter | None = None) -> bytes:
    """Return a PNG picture that shows in one look whether to believe a trace.

    Parameters
    ----------
    tracks
        As they were given to the trace.
    traced
        What came of them.
    title
        First words above the picture, such as the fire's name.
    earlier
        A perimeter to draw beside it, such as the one that growth is measured from.

    Raises
    ------
    CoordinateError
        If the positions lie all around the earth.
    """
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure
    from matplotlib.layout_engine import ConstrainedLayoutEngine

    frame = _frame_around(tracks)
    figure = Figure(figsize=(9.0, 10.4), dpi=110, layout=ConstrainedLayoutEngine(w_pad=0.16, h_pad=0.14))
    axes = figure.add_subplot()
    axes.set(aspect="equal", xticks=[], yticks=[])
    view = _set_view(axes, frame, tracks, traced)
    _draw_tracks(axes, frame, tracks)
    if earlier is not None:
        _draw_earlier(axes, frame, earlier)
    _draw_ring(axes, frame, traced)
    _draw_bridges(axes, frame, traced)
    _draw_removed(axes, frame, traced)
    _draw_open_ends(axes, frame, traced)
    _draw_flight_ends(axes, frame, tracks)
    _number_places(axes, frame, traced)
    _draw_scale_and_north(axes, view)
    _write_words(figure, axes, traced, title)
    written = io.BytesIO()
    FigureCanvasAgg(figure)
    figure.savefig(written, format="png")
    return written.getvalue()


def _frame_around(tracks: Sequence[Track]) -> LocalFrame:
    longitude, latitude = _all_positions(tracks)
    known = np.isfinite(longitude) & np.isfinite(latitude)
    return LocalFrame.around(longitude[known], latitude[known]) if known.any() else LocalFrame(0.0, 0.0)


def _draw_tracks(axes: Any, frame: LocalFrame, tracks: Sequence[Track]) -> None:
    label = "flown track, as logged"
    for track in tracks:
        every = max(1, len(track) // _MOST_DRAWN)
        x, y = frame.to_metres(track.longitude[::every], track.latitude[::every])
        axes.plot(x, y, color="0.55", linewidth=0.9, zorder=1, label=label)
        label = "_"


def _draw_earlier(axes: Any, frame: LocalFrame, earlier: Perimeter) -> None:
    label = "earlier perimeter"
    for part in _parts(frame.geometry_to_metres(earlier.geometry)):
        for ring in (part.exterior, *part.interiors):
            axes.plot(*np.asarray(ring.coords).T[:2], color=_GREEN, linewidth=1.6, linestyle=":", zorder=3, label=label)
            label = "_"


def _draw_ring(axes: Any, frame: LocalFrame, traced: Traced) -> None:
    """Fill the perimeter and draw its edge; where there is none, draw the chains that make no ring."""
    if traced.perimeter is None:
        for number, line in enumerate(traced.rings):
            x, y = frame.to_metres(line.longitude, line.latitude)
            label = "_" if number else "what was flown of the edge"
            axes.plot(x, y, color="black", linewidth=2.0, linestyle=(0, (6, 2)), zorder=4, label=label)
        return
    edge_label, island_label = "perimeter", "unburned island"
    for part in _parts(frame.geometry_to_metres(traced.perimeter.geometry)):
        x, y = np.asarray(part.exterior.coords).T[:2]
        axes.fill(x, y, facecolor="#F6E3D3", zorder=0)
        axes.plot(x, y, color="black", linewidth=2.2, zorder=4, label=edge_label)
        edge_label = "_"
        for ring in part.interiors:
            x, y = np.asarray(ring.coords).T[:2]
            axes.fill(x, y, facecolor="white", edgecolor="0.45", hatch="///", linewidth=0, zorder=0.5)
            axes.plot(x, y, color="black", linewidth=1.6, linestyle="-.", zorder=4, label=island_label)
            island_label = "_"


def _draw_bridges(axes: Any, frame: LocalFrame, traced: Traced) -> None:
    longest = {id(bridge) for bridge in sorted(traced.bridges, key=lambda bridge: -bridge.length_m)[:_SHOWN_LENGTHS]}
    labels = {False: "bridged, not flown", True: "INVENTED, not flown"}
    for bridge in traced.bridges:
        x, y = frame.to_metres(bridge.line.longitude, bridge.line.latitude)
        color, style = (_VERMILLION, (0, (1, 1.2))) if bridge.is_invented else (_BLUE, (0, (2.5, 1.2)))
        axes.plot(x, y, color="white", linewidth=5.5, zorder=5, label="_")
        label = labels.get(bridge.is_invented, "_")
        axes.plot(x, y, color=color, linewidth=4.0, linestyle=style, zorder=6, label=label)
        labels[bridge.is_invented] = "_"
        if id(bridge) in longest and bridge.length_m >= 1.0:
            middle = (float(np.mean([x.min(), x.max()])), float(np.mean([y.min(), y.max()])))
            _name_place(axes, middle, f"{bridge.length_m:.0f} m", color)


def _draw_removed(axes: Any, frame: LocalFrame, traced: Traced) -> None:
    by_reason: dict[str, list[tuple[Floats, Floats]]] = {}
    for track in traced.removed:
        reasons = np.asarray(track.extra.get("reason", np.full(len(track), "removed")), dtype=str)
        for reason in np.unique(reasons):
            rows = reasons == reason
            by_reason.setdefault(str(reason), []).append(frame.to_metres(track.longitude[rows], track.latitude[rows]))
    for (reason, pieces), marker in zip(sorted(by_reason.items()), itertools.cycle(_REMOVED_MARKERS), strict=False):
        x, y = (np.concatenate(column) for column in zip(*pieces, strict=True))
        label = f"removed: {reason} ({len(x)})"
        # Many of one reason, such as repeats on the line itself, must not hide the line.
        size, width = (42, 1.4) if len(x) <= _MANY_REMOVED else (12, 0.8)
        axes.scatter(x, y, s=size, marker=marker, color=_VERMILLION, linewidths=width, zorder=3.5, label=label)


def _draw_open_ends(axes: Any, frame: LocalFrame, traced: Traced) -> None:
    label = "open end"
    for longitude, latitude in traced.open_ends:
        (x,), (y,) = frame.to_metres([longitude], [latitude])
        axes.scatter([x], [y], s=190, marker="o", facecolor="white", edgecolor="black", linewidths=2.4, zorder=8,
                     label=label)  # fmt: skip
        axes.scatter([x], [y], s=26, marker="o", color="black", zorder=9, label="_")
        _name_place(axes, (float(x), float(y)), f"{latitude:.5f}, {longitude:.5f}", "black")
        label = "_"


def _draw_flight_ends(axes: Any, frame: LocalFrame, tracks: Sequence[Track]) -> None:
    """Mark where each of a few tracks begins and ends: what a pilot knows best."""
    known = [np.flatnonzero(np.isfinite(track.longitude) & np.isfinite(track.latitude)) for track in tracks]
    ends = [(track, rows[[0, -1]]) for track, rows in zip(tracks, known, strict=True) if len(rows)]
    if not 0 < len(ends) <= _MOST_FLIGHT_ENDS:
        return
    longitude, latitude = (np.array([getattr(track, name)[rows] for track, rows in ends])
                           for name in ("longitude", "latitude"))  # fmt: skip
    for index, (marker, size, label) in enumerate((("^", 60, "log begins"), ("s", 34, "log ends"))):
        x, y = frame.to_metres(longitude[:, index], latitude[:, index])
        axes.scatter(x, y, s=size, marker=marker, facecolor="white", edgecolor="0.25", linewidths=1.3,
                     zorder=3.8 - index, label=label)  # fmt: skip


def _number_places(axes: Any, frame: LocalFrame, traced: Traced) -> None:
    """Put the number of each finding above the picture at the places that it speaks of, unless an open end is there."""
    for number, finding in enumerate(_findings(traced)[:_SHOWN_FINDINGS], start=1):
        places = [place for place in finding.places if place not in traced.open_ends][:_SHOWN_PLACES]
        for x, y in zip(*frame.to_metres(*np.asarray(places).reshape(-1, 2).T), strict=True):
            box = {"boxstyle": "circle,pad=0.25", "facecolor": _AMBER, "edgecolor": "black", "linewidth": 1.2}
            axes.text(x, y, str(number), fontsize=10, fontweight="bold", ha="center", va="center", zorder=9.5, bbox=box,
                      clip_on=True)  # fmt: skip


def _name_place(axes: Any, place: tuple[float, float], words: str, color: str) -> None:
    """Write words beside a place, towards the middle of the picture, so that they are never cut off."""
    (west, east), (south, north) = axes.get_xlim(), axes.get_ylim()
    is_east, is_north = place[0] > (west + east) / 2, place[1] > (south + north) / 2
    box = {"boxstyle": "round,pad=0.2", "facecolor": "white", "edgecolor": color, "linewidth": 0.8, "alpha": 0.9}
    axes.annotate(words, place, xytext=(-11 if is_east else 11, -11 if is_north else 11), textcoords="offset points",
                  ha="right" if is_east else "left", va="top" if is_north else "bottom", fontsize=8.5, zorder=10,
                  bbox=box, clip_on=True)  # fmt: skip


def _set_view(axes: Any, frame: LocalFrame, tracks: Sequence[Track], traced: Traced) -> _View:
    """Show the ring whole and of the rest what lies near it; return west, south, east, north in metres.

    Where something speaks against the ring, what was flown far from it is shown as well: the true edge may be there.
    """
    flown = np.column_stack(frame.to_metres(*_all_positions(tracks)))
    flown = flown[np.isfinite(flown).all(axis=1)]
    flown = flown if len(flown) else np.zeros((1, 2))
    core = np.vstack([flown[:0], *_ring_places(frame, traced)])
    core = core if len(core) else np.percentile(flown, (2, 98), axis=0)
    low, high = core.min(axis=0), core.max(axis=0)
    margin = (_ROUND_A_DOUBTED_RING if _findings(traced) else _ROUND_THE_RING) * float((high - low).max())
    low = np.minimum(low, np.maximum(flown.min(axis=0), low - margin))
    high = np.maximum(high, np.minimum(flown.max(axis=0), high + margin))
    widest = max(float((high - low).max()), 10.0)
    room = np.maximum((_NARROWEST * widest - (high - low)) / 2, 0.06 * widest)
    (west, south), (east, north) = (low - room - [0.0, _SCALE_ROOM * widest]).tolist(), (high + room).tolist()
    axes.set_xlim(west, east)
    axes.set_ylim(south, north)
    return west, south, east, north


def _ring_places(frame: LocalFrame, traced: Traced) -> Iterator[Floats]:
    lines = [*traced.rings, *(bridge.line for bridge in traced.bridges)]
    yield from (np.column_stack(frame.to_metres(line.longitude, line.latitude)) for line in lines)
    if traced.perimeter is not None:
        for part in _parts(frame.geometry_to_metres(traced.perimeter.geometry)):
            yield np.asarray(part.exterior.coords)[:, :2]
    if traced.open_ends:
        yield np.column_stack(frame.to_metres(*np.asarray(traced.open_ends).T))


def _draw_scale_and_north(axes: Any, view: _View) -> None:
    west, south, east, north = view
    length = _round_length_m(0.25 * (east - west))
    x, y, tick = west + 0.04 * (east - west), south + 0.035 * (north - south), 0.010 * (north - south)
    casing = {"facecolor": "white", "edgecolor": "none", "alpha": 0.8, "pad": 1.5}
    axes.plot([x, x, x, x + length, x + length, x + length], [y + tick, y - tick, y, y, y - tick, y + tick],
              color="black", linewidth=2.0, zorder=11, label="_")  # fmt: skip
    axes.text(x + length / 2, y + 1.6 * tick, _describe_length(length), ha="center", va="bottom", fontsize=9,
              zorder=11, bbox=casing)  # fmt: skip
    axes.annotate("N", (0.955, 0.965), (0.955, 0.895), xycoords="axes fraction", ha="center", va="top", fontsize=12,
                  fontweight="bold", zorder=11, bbox=casing,
                  arrowprops={"arrowstyle": "-|>", "linewidth": 2.0, "color": "black"})  # fmt: skip


def _describe_length(length_m: float) -> str:
    if length_m < _SAID_IN_KILOMETRES_M:
        return f"{length_m:g} m = {units.convert(length_m, units.METRE, units.FOOT):,.0f} ft"
    kilometres, miles = (units.convert(length_m, units.METRE, unit) for unit in (units.KILOMETRE, units.MILE))
    return f"{kilometres:,.0f} km = {miles:,.1f} miles"


def _round_length_m(wanted_m: float) -> float:
    """Return the largest of 1, 2, 5, 10, 20, ... that is no longer."""
    power = 10.0 ** math.floor(math.log10(wanted_m))
    return max(step * power for step in (1, 2, 5) if step * power <= wanted_m)


def _write_words(figure: Any, axes: Any, traced: Traced, title: str) -> None:
    """Write the verdict above the picture, what the lines mean and the caution below it."""
    verdict, words, color = _verdict(traced, _findings(traced))
    figure.suptitle(f"{verdict}\n{_headline(traced, title)}", fontsize=15, fontweight="bold")
    box = {"boxstyle": "round,pad=0.45", "facecolor": "white", "edgecolor": color, "linewidth": 2.5}
    axes.set_title("\n".join(words), fontsize=10.5, loc="left", bbox=box, pad=14)
    figure.legend(*axes.get_legend_handles_labels(), loc="outside lower center", ncols=3, fontsize=9.5, frameon=False)
    axes.set_xlabel(CAUTION, fontsize=9)


def _headline(traced: Traced, title: str) -> str:
    start = f"{title}: " if title else ""
    if traced.perimeter is None:
        return f"{start}no perimeter"
    area = traced.report.area_m2
    hectares, acres = (units.convert(area, units.SQUARE_METRE, unit) for unit in (units.HECTARE, units.ACRE))
    return f"{start}{hectares:,.1f} ha = {acres:,.1f} acres"


def _verdict(traced: Traced, findings: Sequence[Finding]) -> tuple[str, list[str], str]:
    shown = enumerate(findings[:_SHOWN_FINDINGS], start=1)
    words = [line for number, finding in shown for line in _wrap(f"{number}  {finding.words}")]
    if len(findings) > _SHOWN_FINDINGS:
        words.append(f"... and {len(findings) - _SHOWN_FINDINGS} more")
    if traced.perimeter is None:
        return "✘ REFUSED", words, _VERMILLION
    if findings:
        return "▲ CHECK BEFORE USE", words, _AMBER
    told = "Nothing speaks against it, as far as the log can tell."
    return "✔ NO FLAG", [told, f"Edge error: {traced.report.describe_error()}."], _GREEN


def _findings(traced: Traced) -> list[Finding]:
    return [*traced.refusals, *traced.flags]


def _wrap(text: str) -> list[str]:
    return textwrap.wrap(text, 92, subsequent_indent="    ")


def _all_positions(tracks: Sequence[Track]) -> tuple[Floats, Floats]:
    none = np.empty(0)
    return (
        np.concatenate([none, *(track.longitude for track in tracks)]),
        np.concatenate([none, *(track.latitude for track in tracks)]),
    )


def _parts(area: BaseGeometry) -> list[BaseGeometry]:
    import shapely

    return list(shapely.get_parts(area))
