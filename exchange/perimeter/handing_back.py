"""The outcome of a trace in the terms of the model: perimeter, side layers, and figures."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from exchange.geo.frame import LocalFrame
from exchange.model import Perimeter, Track
from exchange.perimeter.bridging import Gap
from exchange.perimeter.cleaning import NO_POSITION, Cleaned
from exchange.perimeter.finding import Finding
from exchange.perimeter.report import TraceReport
from exchange.perimeter.traced import Bridge, Line

Floats = NDArray[np.float64]

METHOD = "flown track"
_LONGEST_FLIGHT = np.timedelta64(1, "D")


def to_removed_tracks(tracks: Sequence[Track], cleaned: Cleaned | None) -> tuple[Track, ...]:
    """Return the removed fixes, one track a source track that lost some, each with its reason.

    Without cleaned fixes not one fix had a position.
    """
    if cleaned is None:
        return tuple(_with_reason(track, np.full(len(track), NO_POSITION, object)) for track in tracks if len(track))
    removed = []
    for number in np.unique(cleaned.removed.track).tolist():
        mine = cleaned.removed.track == number
        rows, reason = cleaned.removed.row[mine], cleaned.reason[mine]
        order = np.argsort(rows, kind="stable")
        removed.append(_with_reason(tracks[number].take(rows[order]), reason[order]))
    return tuple(removed)


def to_bridges(frame: LocalFrame, gaps: Sequence[Gap]) -> tuple[Bridge, ...]:
    """Return the gaps in degrees."""
    return tuple(Bridge(to_line(frame, gap.ends), gap.length_m, gap.is_invented) for gap in gaps)


def to_line(frame: LocalFrame, xy: Floats) -> Line:
    """Return places in metres as a line in degrees."""
    return Line(*frame.to_degrees(xy[:, 0], xy[:, 1]))


def to_closed_line(frame: LocalFrame, ring: Floats) -> Line:
    """Return a ring in metres as a line in degrees that ends where it starts."""
    return to_line(frame, np.vstack([ring, ring[:1]]))


def to_perimeter(
    geometry: Any, tracks: Sequence[Track], report: TraceReport, refusals: Sequence[Finding], flags: Sequence[Finding]
) -> Perimeter:
    """Return the perimeter with all that tells how far to trust it."""
    return Perimeter(
        geometry=geometry,
        as_of=_last_time(tracks),
        method=METHOD,
        accuracy=report.expected_error_m,
        area=report.area_m2,
        length=report.length_m,
        tracks=tuple(dict.fromkeys(track.name for track in tracks if track.name)),
        quality=_quality(report, refusals, flags),
    )


def count_reasons(cleaned: Cleaned) -> dict[str, int]:
    """Return how many fixes were removed for each reason."""
    reasons, counts = np.unique(cleaned.reason.astype(str), return_counts=True)
    return dict(zip(reasons.tolist(), counts.tolist(), strict=True))


def _with_reason(track: Track, reason: NDArray[np.object_]) -> Track:
    return track.replace(extra={**track.extra, "reason": reason})


def _quality(report: TraceReport, refusals: Sequence[Finding], flags: Sequence[Finding]) -> dict[str, Any]:
    """Return the figures that travel in the output, and what stands against the perimeter in codes and words."""
    figures: dict[str, Any] = {
        "bridged_share": report.bridged_share,
        "closure_gap_m": report.closure_gap_m,
        "laps": report.laps,
        "noise_m": report.noise_m,
        "offset_m": report.offset_m,
        "offset_unknown_m": report.offset_unknown_m,
        "fixes_used": report.fixes_used,
        "fixes_removed": sum(report.removed.values()),
    }
    known = {name: value for name, value in figures.items() if value == value}
    for name, findings in (("invented", refusals), ("flags", flags)):
        if findings:
            known[name] = " ".join(finding.code for finding in findings)
            known[f"{name}_words"] = " ".join(finding.words for finding in findings)
    return known


def _last_time(tracks: Sequence[Track]) -> np.datetime64:
    """Return the last time of the tracks; one further than a day from the middle of its track is the clock's fault."""
    times = [track.time[~np.isnat(track.time)] for track in tracks]
    known = [time[np.abs(time - _middle(time)) <= _LONGEST_FLIGHT].max() for time in times if len(time)]
    return max(known) if known else np.datetime64("NaT", "ms")


def _middle(times: NDArray[np.datetime64]) -> np.datetime64:
    # An instant of the track itself: half of an even count may lie before a jump of the clock.
    middle: np.datetime64 = np.sort(times)[len(times) // 2]
    return middle


def blank_report(tracks: Sequence[Track], cleaned: Cleaned | None = None) -> TraceReport:
    """Return the figures that are known before a ring is."""
    report = TraceReport(tracks=len(tracks), fixes_in=sum(map(len, tracks)))
    if cleaned is None:
        return dataclasses.replace(report, removed={NO_POSITION: report.fixes_in} if report.fixes_in else {})
    return dataclasses.replace(report, fixes_used=len(cleaned.xy), removed=count_reasons(cleaned))
