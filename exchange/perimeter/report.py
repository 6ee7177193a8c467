"""The figures of a trace, one or more for every step, for ``--json`` and for people."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from exchange.geo import units

_NAN = math.nan


@dataclass(frozen=True, kw_only=True)
class TraceReport:
    """Hold the figures of a trace; what could not be measured is NaN.

    Attributes
    ----------
    tracks, fixes_in, fixes_used
        Source tracks and fixes given; fixes left after cleaning.
    removed
        Fixes taken out, by reason.
    flights
        Unbroken flights found.
    looked_aside_fixes
        Fixes that were moved to where the camera looked.
    offset_m
        Sideways distance between the flown line and the edge that was allowed for.
    offset_unknown_m
        By how much the edge may lie beside the flown line because nothing states where the camera looked.
    legs_cut, legs_length_m
        Legs to and from the edge that fell away, and their length.
    rings, laps
        Closed rings found; the most passes that any stretch of a ring was averaged of.
    bridges, bridged_length_m, bridged_share, closure_gap_m
        Gaps bridged, their length, their share of the rings' length, and the longest.
    parts, islands, vertices, pieces_left_out
        Of the perimeter.
    area_m2, length_m, island_length_m
        On the ellipsoid: area without islands, length of the outer edge, length of the islands' edges.
    noise_m
        Standard deviation of the fixes across the line, as far as the log shows it.
    expected_error_m, area_error_m2
        Distance that holds the true edge 95 times in 100, and what it means for the area.
    seconds_flown
        Time in the air over all flights.
    """

    tracks: int = 0
    fixes_in: int = 0
    fixes_used: int = 0
    removed: Mapping[str, int] = field(default_factory=dict)
    flights: int = 0
    looked_aside_fixes: int = 0
    offset_m: float = 0.0
    offset_unknown_m: float = 0.0
    legs_cut: int = 0
    legs_length_m: float = 0.0
    rings: int = 0
    laps: int = 0
    bridges: int = 0
    bridged_length_m: float = 0.0
    bridged_share: float = 0.0
    closure_gap_m: float = 0.0
    parts: int = 0
    islands: int = 0
    vertices: int = 0
    pieces_left_out: int = 0
    area_m2: float = _NAN
    length_m: float = _NAN
    island_length_m: float = _NAN
    noise_m: float = _NAN
    expected_error_m: float = _NAN
    area_error_m2: float = _NAN
    seconds_flown: float = _NAN

    def as_dict(self) -> dict[str, Any]:
        """Return the figures by stable names, missing ones as ``None``, the trade's units beside the metric."""
        figures = {**vars(self), "removed": dict(self.removed), **self._in_other_units()}
        return {name: None if value != value else value for name, value in figures.items()}

    def lines(self) -> list[tuple[str, str]]:
        """Return a short table for people: what it is, and its figures in words."""
        removed = ", ".join(f"{count} {reason}" for reason, count in sorted(self.removed.items())) or "none"
        rows = [
            ("fixes", f"{self.fixes_in} in {_count(self.tracks, 'track')}, {self.fixes_used} used; removed: {removed}"),
            ("flights", f"{self.flights}{self._describe_time()}"),
            ("camera", self._describe_offset()),
            ("legs cut", f"{self.legs_cut}, {self.legs_length_m:.0f} m"),
            ("rings", f"{self.rings}, up to {_count(self.laps, 'lap')}"),
            ("bridges", f"{self.bridges}, {self.bridged_length_m:.0f} m, {self.bridged_share:.1%} of the ring, "
                        f"the longest {self.closure_gap_m:.0f} m"),
        ]  # fmt: skip
        return rows + (self._describe_perimeter() if self.area_m2 == self.area_m2 else [])

    def describe_error(self) -> str:
        """Return in words how far the edge may be off, and on what that rests."""
        if math.isnan(self.expected_error_m):
            return "unknown"
        within = f"within {self.expected_error_m:.1f} m 95 times in 100"
        return f"{within}, if the camera looked straight down" if self.offset_unknown_m else within

    def _describe_perimeter(self) -> list[tuple[str, str]]:
        other = self._in_other_units()
        return [
            ("perimeter", f"{_count(self.parts, 'part')}, {_count(self.islands, 'island')}, {self.vertices} vertices"),
            ("area", f"{other['area_ha']:.2f} ha = {other['area_acres']:.2f} acres"),
            ("length", f"{other['length_km']:.3f} km = {other['length_miles']:.3f} miles = "
                       f"{other['length_chains']:.1f} chains; islands {self.island_length_m:.0f} m"),
            ("edge error", f"{self.describe_error()}; area within {other['area_error_ha']:.2f} ha"),
        ]  # fmt: skip

    def _describe_time(self) -> str:
        return "" if math.isnan(self.seconds_flown) else f", {self.seconds_flown / 60:.1f} minutes in the air"

    def _describe_offset(self) -> str:
        if self.looked_aside_fixes:
            return (
                f"{self.looked_aside_fixes} fixes moved to where the camera looked, {self.offset_m:.0f} m in the middle"
            )
        if self.offset_m:
            return f"the edge lies {self.offset_m:.0f} m beside the flown line"
        if self.offset_unknown_m:
            return f"the flown line is taken as the edge, which may be off by {self.offset_unknown_m:.0f} m"
        return "the flown line is taken as the edge"

    def _in_other_units(self) -> dict[str, float]:
        return {
            "area_ha": units.convert(self.area_m2, units.SQUARE_METRE, units.HECTARE),
            "area_acres": units.convert(self.area_m2, units.SQUARE_METRE, units.ACRE),
            "area_error_ha": units.convert(self.area_error_m2, units.SQUARE_METRE, units.HECTARE),
            "length_km": units.convert(self.length_m, units.METRE, units.KILOMETRE),
            "length_miles": units.convert(self.length_m, units.METRE, units.MILE),
            "length_chains": units.convert(self.length_m, units.METRE, units.CHAIN),
        }


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"
