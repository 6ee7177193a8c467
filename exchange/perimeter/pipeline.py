"""The steps from flown tracks to a perimeter, in their order."""

from __future__ import annotations

from collections.abc import Sequence

from exchange.errors import AmbiguityError, CoordinateError
from exchange.model import Track
from exchange.perimeter.aiming import aim_camera
from exchange.perimeter.cleaning import clean_fixes
from exchange.perimeter.fixes import gather_fixes
from exchange.perimeter.flying import find_paths
from exchange.perimeter.judging import (
    LARGEST_M,
    judge_vertices,
    tell_no_position,
    tell_no_valid_ring,
    tell_too_far_apart,
)
from exchange.perimeter.options import TraceOptions
from exchange.perimeter.outcome import Trace, is_sound
from exchange.perimeter.outlines import draw_outline, gather_passes
from exchange.perimeter.reasons import find_impossible
from exchange.perimeter.rings import find_rings
from exchange.perimeter.second_opinion import weigh_rings
from exchange.perimeter.simplifying import count_vertices, simplify_to_degrees
from exchange.perimeter.traced import Traced

_DEFAULT = TraceOptions()


def trace_perimeter(tracks: Sequence[Track], *, options: TraceOptions = _DEFAULT) -> Traced:
    """Return the perimeter that the tracks flew around, or why there is none.

    Parameters
    ----------
    tracks
        Flights or drawn lines, in any order and direction.
    options
        What the user states about the camera, simplification and open rings.
    """
    trace = Trace(tracks, options)
    cleaned = trace.cleaned = clean_fixes(gather_fixes(tracks))
    if cleaned is None:
        return trace.refuse(tell_no_position())
    if not cleaned.reach_m <= LARGEST_M:
        return trace.refuse(tell_too_far_apart(cleaned.reach_m))
    aim = trace.aim = aim_camera(cleaned, options)
    flown = trace.flown = find_paths(cleaned, aim)
    places = [path.fine for path in flown.paths]
    if impossible := find_impossible(cleaned.frame, places, len(cleaned.xy), is_logged=not flown.is_drawn):
        return trace.refuse(impossible)
    found = find_rings(flown.paths, within_m=flown.near_m)
    opinion = trace.opinion = weigh_rings(found, flown.paths, within_m=flown.near_m)
    search = trace.search = opinion.search
    missing = trace.explain_open()
    if missing and not (options.allow_open and (search.rings or search.open_rings)):
        return trace.refuse(missing)
    rings = [*search.rings, *search.open_rings]
    outline = trace.outline = draw_outline(rings, gather_passes(search.strands), aim, within_m=flown.near_m)
    if outline.area.is_empty:
        return trace.refuse(tell_no_valid_ring())
    try:
        geometry = simplify_to_degrees(
            cleaned.frame, outline.area, within_m=options.simplify_m, max_vertices=options.max_vertices
        )
    except (AmbiguityError, CoordinateError):
        # Rings that touch themselves within a rounding of degrees cannot be cut at the 180th meridian.
        return trace.refuse(tell_no_valid_ring())
    if not is_sound(geometry):
        return trace.refuse(tell_no_valid_ring())
    if too_few := judge_vertices(count_vertices(geometry), options.max_vertices):
        return trace.refuse(too_few)
    return trace.finish(geometry, missing)
