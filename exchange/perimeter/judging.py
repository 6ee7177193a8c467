"""What speaks against a perimeter: flags that a person must know before trusting it, and the last refusals."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from exchange.geo.frame import LocalFrame
from exchange.perimeter.bridging import Gap
from exchange.perimeter.finding import Finding, to_places
from exchange.perimeter.options import TraceOptions
from exchange.perimeter.reasons import TOO_FEW_FIXES
from exchange.perimeter.report import TraceReport

Floats = NDArray[np.float64]

LONG_BRIDGE: Final = "long-bridge"
NOISE_LARGE: Final = "noise-large"
TOO_FAR_APART: Final = "too-far-apart"
NO_VALID_RING: Final = "no-valid-ring"
TOO_FEW_VERTICES: Final = "too-few-vertices"

LARGEST_M: Final = 1_000_000.0
"""Fixes farther apart are no one fire, and no flat frame holds them."""

_NOISE_SHARE: Final = 0.09
_LOST_SHARE, _LEAST_LOST_M, _LEAST_LOST_FIXES = 0.065, 3.5, 100


def judge_bridges(frame: LocalFrame, gaps: Sequence[Gap], report: TraceReport, options: TraceOptions) -> list[Finding]:
    """Return a flag where more of the edge was bridged than may be."""
    bridged, share = report.bridged_length_m, report.bridged_share
    if not gaps or share <= options.max_bridged_share:
        return []
    longest = max(gaps, key=lambda gap: gap.length_m)
    words = (
        f"{bridged:.0f} m of the edge, {share:.0%} of it, were not flown and are bridged by straight lines, "
        f"the longest {longest.length_m:.0f} m. Fly that stretch again."
    )
    figures = {"bridged_m": bridged, "bridged_share": share, "longest_m": longest.length_m}
    places = to_places(frame, longest.ends)
    return [Finding(code=LONG_BRIDGE, words=words, places=places, figures=figures)]


def judge_noise(noise_m: float, width_m: float) -> list[Finding]:
    """Return a flag where the noise of the fixes is large against the size of the area.

    Parameters
    ----------
    noise_m
        Standard deviation of the fixes across the line; NaN is not known.
    width_m
        Twice the area over the length of its edge: the radius of a disc, the width of a band.
    """
    if not noise_m > _NOISE_SHARE * width_m:
        return []
    words = (
        f"The fixes scatter by {noise_m:.1f} m, which is much for an area with a mean width of {width_m:.0f} m: "
        "the edge is only roughly right. Fly it again, several times around."
    )
    return [Finding(code=NOISE_LARGE, words=words, figures={"noise_m": noise_m, "width_m": width_m})]


def judge_vertices(needed: int, most: int | None) -> Finding | None:
    """Return the refusal of a perimeter that so many vertices cannot hold: each part and each island needs its own."""
    if most is None or needed <= most:
        return None
    words = (
        f"Parts and islands of this perimeter need {needed} vertices, and {most} are allowed: none may be left out. "
        "Allow more vertices."
    )
    return Finding(code=TOO_FEW_VERTICES, words=words, figures={"needed": float(needed), "allowed": float(most)})


def find_lost_in_noise(noise_m: float, xy: Floats) -> Finding | None:
    """Return the refusal of fixes that scatter so far that no ring was found to close; ``None`` where they do not.

    Parameters
    ----------
    noise_m
        As for ``judge_noise``.
    xy
        All fixes in metres, shape (n, 2); no area inside of them is wider than their convex hull.
    """
    import shapely

    # Of few fixes, far apart, bends look like scatter.
    if not noise_m > _LEAST_LOST_M or len(xy) < _LEAST_LOST_FIXES:
        return None
    hull = shapely.MultiPoint(xy).convex_hull
    width_m = 2.0 * hull.area / hull.length if hull.length > 0.0 else 0.0
    if noise_m <= _LOST_SHARE * width_m:
        return None
    words = (
        f"The fixes scatter by {noise_m:.1f} m, and all of them lie in an area with a mean width of {width_m:.0f} m: "
        "no edge can be told from the scatter. Fly it again with better reception, or walk the edge."
    )
    return Finding(code=NOISE_LARGE, words=words, figures={"noise_m": noise_m, "width_m": width_m})


def tell_no_position() -> Finding:
    """Return the refusal of a log in which no fix has a position."""
    words = "No fix of the log has a position. Check the log, or fly the edge again with the receiver on."
    return Finding(code=TOO_FEW_FIXES, words=words)


def tell_too_far_apart(reach_m: float) -> Finding:
    """Return the refusal of fixes that lie too far apart."""
    words = f"The fixes lie up to {reach_m / 1000:.0f} km apart, which is no one fire. Give the log of one fire."
    return Finding(code=TOO_FAR_APART, words=words, figures={"reach_m": reach_m})


def tell_no_valid_ring() -> Finding:
    """Return the refusal of what makes no valid area."""
    words = "What was flown encloses no area that could be drawn without crossing itself. Fly the edge again."
    return Finding(code=NO_VALID_RING, words=words)
