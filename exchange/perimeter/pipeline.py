"""The steps from flown tracks to a perimeter, in their order."""

from __future__ import annotations

from collections.abc import Sequence

from exchange.model import Track
from exchange.perimeter.finding import Finding
from exchange.perimeter.options import TraceOptions
from exchange.perimeter.report import TraceReport
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
    fixes_in = sum(len(track) for track in tracks)
    return Traced(
        perimeter=None,
        refusals=(Finding(code="too-few-fixes", words="There are too few fixes to make a ring; fly the edge again."),),
        flags=(),
        removed=(),
        bridges=(),
        rings=(),
        open_ends=(),
        report=TraceReport(tracks=len(tracks), fixes_in=fixes_in),
    )
