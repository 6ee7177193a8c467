"""What a trace has found so far, and the outcome that is made of it."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from exchange.geo.geodesy import measure_polygon
from exchange.model import Track
from exchange.perimeter import handing_back, judging, measuring, reasons
from exchange.perimeter.aiming import Aim
from exchange.perimeter.bridging import Gap, find_gaps
from exchange.perimeter.cleaning import Cleaned
from exchange.perimeter.days_apart import judge_days_apart
from exchange.perimeter.finding import Finding
from exchange.perimeter.flying import Flown
from exchange.perimeter.launch_corner import judge_launch_corner
from exchange.perimeter.narrow_neck import judge_narrow_neck
from exchange.perimeter.options import TraceOptions
from exchange.perimeter.outlines import Outline
from exchange.perimeter.report import TraceReport
from exchange.perimeter.rings import RingSearch
from exchange.perimeter.second_opinion import Opinion, tell_dispute
from exchange.perimeter.shapes import ring_length_m
from exchange.perimeter.simplifying import count_vertices, measure_moved_m
from exchange.perimeter.straight_way import find_straight_ways
from exchange.perimeter.traced import Traced
from exchange.perimeter.unexplained import EXPLAINED_WITHIN_M, judge_unexplained

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from exchange.geo.frame import LocalFrame

Floats = NDArray[np.float64]

OPEN_CODES: Final = (reasons.HALF_RING, reasons.MISSING_FLIGHT)


@dataclass
class Trace:
    """Gather what the steps find, in the order in which they find it; a step that was not reached left its default."""

    tracks: Sequence[Track]
    options: TraceOptions
    cleaned: Cleaned | None = None
    aim: Aim | None = None
    flown: Flown | None = None
    search: RingSearch | None = None
    opinion: Opinion | None = None
    outline: Outline | None = None

    def measure_noise_m(self) -> float:
        """Return how far the kept fixes scatter, in metres; NaN before they were flown, and for a drawn line."""
        if self.cleaned is None or self.flown is None or self.flown.is_drawn:
            return math.nan
        return measuring.measure_noise_m(self.cleaned.xy, self.cleaned.interval_seconds, self.cleaned.fixes.track)

    def explain_open(self) -> Finding | None:
        """Return what is missing of rings that do not close, or of any ring; ``None`` where all close."""
        if self.cleaned is None or self.flown is None or self.search is None:
            return None
        if self.search.rings and not self.search.open_rings:
            return self._explain_closed_by_way()
        if lost := judging.find_lost_in_noise(self.measure_noise_m(), self.cleaned.xy):
            return lost
        gaps = [gap.ends for gap in self._invented()]
        length = sum(float(path.fine_along[-1]) for path in self.flown.paths)
        if self.search.open_rings:
            bridged = sum(gap.length_m for gap in self._invented())
            length = sum(ring_length_m(ring.xy) for ring in self.search.open_rings) - bridged
        if not gaps:
            longest = max(self.flown.paths, key=lambda path: float(path.fine_along[-1]))
            gaps = [longest.fine[[-1, 0]]]
        return reasons.explain_open(self.cleaned.frame, gaps, max(length, 0.0), flights=len(self.flown.paths))

    def _explain_closed_by_way(self) -> Finding | None:
        """Return what is missing of rings that a straight way from a launch closes; ``None`` where none does."""
        if self.cleaned is None or self.flown is None or self.search is None:
            return None
        rings = [ring.xy for ring in self.search.rings]
        ways = find_straight_ways(rings, [path.even for path in self.flown.paths if not path.is_drawn])
        if not ways:
            return None
        length = sum(map(ring_length_m, rings)) - sum(float(np.hypot(*(way[1] - way[0]))) for way in ways)
        return reasons.explain_open(self.cleaned.frame, ways, max(length, 0.0), flights=len(self.flown.paths))

    def refuse(self, finding: Finding) -> Traced:
        """Return the outcome without a perimeter, with what was flown for a picture of it."""
        chains: list[Floats] = []
        if self.search is not None and self.search.open_rings:
            chains = [ring.xy for ring in self.search.open_rings]
        elif self.flown is not None:
            chains = [path.fine for path in self.flown.paths]
        return Traced(
            perimeter=None,
            refusals=(finding,),
            flags=(),
            removed=self._removed(),
            bridges=(),
            rings=tuple(handing_back.to_line(self.cleaned.frame, chain) for chain in chains) if self.cleaned else (),
            open_ends=finding.places if finding.code in OPEN_CODES else (),
            report=self._describe(),
        )

    def finish(self, geometry: BaseGeometry, missing: Finding | None) -> Traced:
        """Return the outcome with a perimeter of degrees; what was missing and is invented stays told."""
        if self.cleaned is None or self.aim is None or self.outline is None:
            raise ValueError("a trace is finished after its last step only")
        gaps = self._gaps()
        report = self._measure(geometry, gaps)
        flags = self._judge(report, gaps)
        refusals = (missing,) if missing else ()
        frame = self.cleaned.frame
        return Traced(
            perimeter=handing_back.to_perimeter(geometry, self.tracks, report, refusals, flags),
            refusals=refusals,
            flags=flags,
            removed=self._removed(),
            bridges=handing_back.to_bridges(frame, gaps),
            rings=tuple(handing_back.to_closed_line(frame, ring) for ring in self.outline.rings),
            open_ends=missing.places if missing else (),
            report=report,
        )

    def _describe(self) -> TraceReport:
        """Return the figures that are known so far."""
        report = handing_back.blank_report(self.tracks, self.cleaned)
        if self.flown is not None:
            report = dataclasses.replace(report, flights=len(self.flown.paths), seconds_flown=self.flown.seconds)
        if self.aim is not None:
            report = dataclasses.replace(
                report,
                looked_aside_fixes=self.aim.moved,
                offset_m=self.aim.offset_m or self.aim.moved_m,
                offset_unknown_m=self.aim.unknown_m,
            )
        if self.search is not None:
            report = dataclasses.replace(
                report,
                legs_cut=self.search.legs_cut,
                legs_length_m=self.search.legs_length_m,
                rings=len(self.search.rings) + len(self.search.open_rings),
            )
        return report

    def _measure(self, geometry: BaseGeometry, gaps: Sequence[Gap]) -> TraceReport:
        import shapely

        assert self.cleaned is not None  # noqa: S101  # finish has seen to it
        assert self.outline is not None  # noqa: S101
        report, measure, outline = self._describe(), measure_polygon(geometry), self.outline
        noise = self.measure_noise_m()
        simplified = self.options.simplify_m
        if self.options.max_vertices is not None:
            simplified = max(simplified, measure_moved_m(self.cleaned.frame, outline.area, geometry))
        error = measuring.expect_error_m(noise, outline.scatter_m, outline.laps, simplified, report.offset_m)
        length, parts = measure.length_m + measure.island_length_m, shapely.get_parts(geometry)
        bridged = [gap.length_m for gap in gaps]
        return dataclasses.replace(
            report,
            laps=outline.laps,
            bridges=len(gaps),
            bridged_length_m=sum(bridged),
            bridged_share=sum(bridged) / length,
            closure_gap_m=max(bridged, default=0.0),
            parts=len(parts),
            islands=sum(len(part.interiors) for part in parts),
            vertices=count_vertices(geometry),
            pieces_left_out=outline.left_out,
            area_m2=measure.area_m2,
            length_m=measure.length_m,
            island_length_m=measure.island_length_m,
            noise_m=float(np.fmax(noise, outline.scatter_m)),
            expected_error_m=error,
            area_error_m2=measuring.area_error_m2(error, length),
        )

    def _judge(self, report: TraceReport, gaps: Sequence[Gap]) -> tuple[Finding, ...]:
        """Return what a person must know before trusting the perimeter."""
        assert self.cleaned is not None  # noqa: S101  # finish has seen to it
        assert self.aim is not None  # noqa: S101
        width_m = 2.0 * report.area_m2 / (report.length_m + report.island_length_m)
        return (
            *self.aim.flags,
            *judging.judge_bridges(self.cleaned.frame, gaps, report, self.options),
            *judging.judge_noise(report.noise_m, width_m),
            *judge_days_apart(self.cleaned.fixes),
            *self._judge_rings(self.cleaned.frame),
        )

    def _judge_rings(self, frame: LocalFrame) -> list[Finding]:
        if self.search is None or self.outline is None or self.flown is None:
            return []
        if self.opinion is not None and self.opinion.is_confirmed:
            return []
        flown = [strand.path.even for strand in self.search.strands]
        legs = [strand.is_leg() for strand in self.search.strands]
        within_m = max(EXPLAINED_WITHIN_M, 1.5 * self.flown.near_m)
        # A drawn line has no launch: a corner of it is a corner.
        ends = np.vstack([np.empty((0, 2)), *(path[[0, -1]] for path in flown if not self.flown.is_drawn)])
        return [
            *(tell_dispute(frame, self.opinion) if self.opinion is not None else ()),
            *judge_unexplained(frame, self.outline.rings, flown, legs, within_m=within_m),
            *judge_launch_corner(frame, self.outline.rings, ends),
            *judge_narrow_neck(frame, self.outline.rings),
        ]

    def _gaps(self) -> list[Gap]:
        if self.search is None or self.flown is None or self.aim is None:
            return []
        closed = find_gaps(self.search.rings, self.aim.xy, is_open=False, is_drawn=self.flown.is_drawn)
        return closed + find_gaps(self.search.open_rings, self.aim.xy, is_open=True, is_drawn=self.flown.is_drawn)

    def _invented(self) -> list[Gap]:
        return [gap for gap in self._gaps() if gap.is_invented]

    def _removed(self) -> tuple[Track, ...]:
        return handing_back.to_removed_tracks(self.tracks, self.cleaned)


def is_sound(geometry: BaseGeometry) -> bool:
    """Tell whether a geometry is a valid area on the earth: the last gate before it is handed out."""
    import shapely

    if geometry.is_empty or geometry.geom_type not in ("Polygon", "MultiPolygon") or not geometry.is_valid:
        return False
    corners = shapely.get_coordinates(geometry)
    is_on_earth = bool(np.isfinite(corners).all() and (np.abs(corners) <= [180.0, 90.0]).all())
    return is_on_earth and measure_polygon(geometry).area_m2 > 0.0
