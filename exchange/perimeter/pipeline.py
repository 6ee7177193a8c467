"""The steps from flown tracks to a perimeter, in their order."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from typing import Any

import numpy as np

from exchange.geo import geodesy
from exchange.geo import rings as geo_rings
from exchange.model import Perimeter, Track
from exchange.perimeter.cleaning import Cleaned, clean_fixes
from exchange.perimeter.faces import fill_path
from exchange.perimeter.finding import Finding
from exchange.perimeter.fixes import gather_fixes
from exchange.perimeter.flights import find_flights, orient_flight
from exchange.perimeter.laps import average_passes
from exchange.perimeter.options import TraceOptions
from exchange.perimeter.paths import Path, to_path
from exchange.perimeter.pieces import sort_pieces
from exchange.perimeter.report import TraceReport
from exchange.perimeter.rings import find_rings
from exchange.perimeter.simplifying import simplify_polygon
from exchange.perimeter.thinning import collapse_hovers, thin_path, waits_seconds
from exchange.perimeter.traced import Traced

_DEFAULT = TraceOptions()
_NEAR_M = 8.0


def trace_perimeter(tracks: Sequence[Track], *, options: TraceOptions = _DEFAULT) -> Traced:
    """Return the perimeter that the tracks flew around, or why there is none.

    Parameters
    ----------
    tracks
        Flights or drawn lines, in any order and direction.
    options
        What the user states about the camera, simplification and open rings.
    """
    import shapely

    cleaned = clean_fixes(gather_fixes(tracks))
    if cleaned is None or len(cleaned.xy) < 4:
        return _refuse(tracks)
    paths = _to_paths(cleaned)
    search = find_rings(paths, within_m=_NEAR_M)
    polygons = [p for ring in search.rings for p in fill_path(ring.xy)]
    pieces = sort_pieces(polygons, within_m=_NEAR_M)
    if not pieces.parts or search.open_rings:
        return _refuse(tracks)
    places = np.vstack([s.path.even[~s.is_leg()] for s in search.strands])
    headings = np.vstack([s.path.headings()[~s.is_leg()] for s in search.strands])

    def smooth(p: Any) -> Any:
        r = np.asarray(p.exterior.coords)[:-1]
        for _ in range(2):
            r = average_passes(r, places, headings, within_m=12.0).ring
        q = fill_path(r)
        return q[0] if q else p

    parts = [smooth(p) for p in pieces.parts]
    islands = [smooth(p) for p in pieces.islands]
    flat = shapely.union_all(parts)
    if islands:
        flat = shapely.difference(flat, shapely.union_all(islands))
    flat = simplify_polygon(flat, within_m=options.simplify_m, max_vertices=options.max_vertices)
    geometry = geo_rings.orient(cleaned.frame.geometry_to_degrees(flat))
    m = geodesy.measure_polygon(geometry)
    report = TraceReport(tracks=len(tracks), fixes_in=sum(map(len, tracks)), area_m2=m.area_m2, length_m=m.length_m)
    return Traced(
        perimeter=Perimeter(geometry=geometry),
        refusals=(),
        flags=(),
        removed=(),
        bridges=(),
        rings=(),
        open_ends=(),
        report=report,
    )


def _to_paths(cleaned: Cleaned) -> list[Path]:
    clock = np.cumsum(cleaned.interval_seconds)
    paths = []
    for rows in find_flights(cleaned.xy, cleaned.fixes.seconds, cleaned.fixes.track):
        xy = cleaned.xy[rows]
        seconds = np.r_[0, np.cumsum(np.maximum(np.diff(clock[rows]), 0))]
        flight = orient_flight(xy, seconds, rows)
        drawn, kept = collapse_hovers(flight.xy, flight.seconds)
        fine, first = thin_path(drawn, 1.0)
        if len(fine) > 2:
            path = to_path(fine, flight.seconds[kept][first], 2.5)
            paths.append(dataclasses.replace(path, waits=waits_seconds(flight.xy, flight.seconds)))
    return paths


def _refuse(tracks: Sequence[Track]) -> Traced:
    return Traced(
        perimeter=None,
        refusals=(Finding(code="half-ring", words="There are too few fixes to make a ring; fly the edge again."),),
        flags=(),
        removed=(),
        bridges=(),
        rings=(),
        open_ends=(),
        report=TraceReport(tracks=len(tracks), fixes_in=sum(len(track) for track in tracks)),
    )
