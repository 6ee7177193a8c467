"""What a trace hands back: the perimeter or why there is none, and all that a picture of it needs."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from exchange.model import Perimeter, Track
from exchange.perimeter.finding import Finding
from exchange.perimeter.report import TraceReport

Floats = NDArray[np.float64]


class Line(NamedTuple):
    """Hold a line in degrees, one position a row."""

    longitude: Floats
    latitude: Floats


class Bridge(NamedTuple):
    """Hold a piece of the ring that was not flown.

    Parameters
    ----------
    line
        Where it lies, degrees.
    length_m
        Its length in metres.
    is_invented
        Whether it is more than a small gap: a ring that is not closed without it, drawn on ``allow_open`` only.
    """

    line: Line
    length_m: float
    is_invented: bool


@dataclass(frozen=True, kw_only=True)
class Traced:
    """Hold the outcome of a trace.

    Attributes
    ----------
    perimeter
        The perimeter, or ``None`` where it was refused.
    refusals
        Why there is no perimeter; with ``allow_open``, what stood against it.
    flags
        What a person must know before trusting it; they travel in ``perimeter.quality``.
    removed
        The fixes that no aircraft can have flown, one track a source track that lost some, with the foreign column
        ``reason``.
    bridges
        The pieces of the rings that were not flown.
    rings
        The rings as flown, closed, before they were simplified, degrees; without a perimeter, the chains of fixes.
    open_ends
        (longitude, latitude) of the ends that do not meet.
    report
        The figures of every step.
    """

    perimeter: Perimeter | None
    refusals: tuple[Finding, ...]
    flags: tuple[Finding, ...]
    removed: tuple[Track, ...]
    bridges: tuple[Bridge, ...]
    rings: tuple[Line, ...]
    open_ends: tuple[tuple[float, float], ...]
    report: TraceReport
