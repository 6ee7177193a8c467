"""Flights too far apart in time to show one edge: a fire moves in between."""

from __future__ import annotations

from typing import Final

import numpy as np

from exchange.perimeter.finding import Finding
from exchange.perimeter.fixes import Fixes

DAYS_APART: Final = "days-apart"
LONGEST_HOURS: Final = 6.0
"""Batteries are changed within minutes; longer than this apart are two looks at a fire, not one (common practice)."""


def judge_days_apart(fixes: Fixes) -> list[Finding]:
    """Return a flag where one flight was flown hours before the next.

    Parameters
    ----------
    fixes
        Kept fixes, ``track`` the flights; those of a flight without times are passed over. A flight's time is its
        median, which a jump of the clock moves little.
    """
    flights = [fixes.seconds[fixes.track == flight] for flight in np.unique(fixes.track)]
    known = [seconds for seconds in flights if np.isfinite(seconds).any()]
    hours = np.sort([float(np.nanmedian(seconds)) for seconds in known]) / 3600.0
    widest = float(np.diff(hours).max(initial=0.0))
    if widest <= LONGEST_HOURS:
        return []
    words = (
        f"The flights lie {widest:.0f} hours apart, and a fire moves. Trace each day's flights by themselves, and tell "
        "the growth with --compare."
    )
    return [Finding(code=DAYS_APART, words=words, figures={"hours_apart": widest})]
