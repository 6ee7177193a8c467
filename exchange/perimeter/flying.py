"""The kept fixes as one path for each flight, hovers drawn together, thinned, and in even steps."""

from __future__ import annotations

import dataclasses
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from exchange.perimeter.aiming import Aim
from exchange.perimeter.cleaning import Cleaned, is_logged
from exchange.perimeter.flights import find_flights, orient_flight, split_at_landings
from exchange.perimeter.paths import Path, to_path
from exchange.perimeter.thinning import collapse_hovers, smooth_jitter, thin_path, waits_seconds

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]

_THINNED_M: Final = 1.0
_STEP_M: Final = 2.5
_NEAR_M: Final = 8.0
_NEAR_STEPS: Final = 2.0
_MOST_STEPS: Final = 150_000
_MOST_BETWEEN_FIXES, _ENOUGH_STEPS = 6.0, 8_000
"""Steps grow with the length of all paths, and sooner where the fixes themselves lie far apart."""


class Flown(NamedTuple):
    """Hold the flights.

    Parameters
    ----------
    paths
        One a flight.
    near_m
        How near is near between paths.
    seconds
        In the air, over all flights; NaN without times.
    """

    paths: list[Path]
    near_m: float
    seconds: float

    @property
    def is_drawn(self) -> bool:
        """Whether all are drawn lines and no logs."""
        return bool(self.paths) and all(path.is_drawn for path in self.paths)


def find_paths(cleaned: Cleaned, aim: Aim) -> Flown:
    """Return the paths of all flights."""
    clock = np.cumsum(cleaned.interval_seconds)
    logs = find_flights(cleaned.xy, cleaned.fixes.seconds, cleaned.fixes.track)
    flights = [flight for rows in logs if len(rows) for flight in split_at_landings(cleaned.xy, clock, rows)]
    step = _choose_step_m(cleaned.xy, flights)
    paths = [path for path in (_to_path(cleaned, aim, clock, rows, step) for rows in flights) if path is not None]
    return Flown(paths, max(_NEAR_M, _NEAR_STEPS * step), _seconds_in_air(cleaned, clock, flights))


def _choose_step_m(xy: Floats, flights: list[Whole]) -> float:
    steps = np.concatenate([np.empty(0), *(np.hypot(*np.diff(xy[rows], axis=0).T) for rows in flights)])
    if not len(steps):
        return _STEP_M
    length, usual = float(steps.sum()), float(np.median(steps))
    return max(_STEP_M, length / _MOST_STEPS, min(usual / _MOST_BETWEEN_FIXES, length / _ENOUGH_STEPS))


def _to_path(cleaned: Cleaned, aim: Aim, clock: Floats, rows: Whole, step_m: float) -> Path | None:
    rows = rows[aim.is_used[rows]]
    if len(rows) < 3:
        return None
    is_timed = bool(np.isfinite(cleaned.fixes.seconds[rows]).all())
    seconds = _rising(clock[rows]) if is_timed else np.full(len(rows), np.nan)
    flight = orient_flight(aim.xy[rows], seconds, rows)
    smooth = smooth_jitter(flight.xy)
    drawn, kept = collapse_hovers(smooth, flight.seconds)
    fine, first = thin_path(drawn, _THINNED_M * step_m / _STEP_M)
    if len(fine) < 3:
        return None
    path = to_path(fine, flight.seconds[kept][first], step_m)
    return dataclasses.replace(
        path,
        waits=waits_seconds(smooth, flight.seconds),
        climbs_m=_climbs_m(cleaned, flight.rows),
        is_drawn=not cleaned.fixes.is_stamped[rows].any()
        and not is_logged(flight.xy[:, 0], flight.xy[:, 1], flight.seconds),
        is_reversed=flight.is_reversed,
    )


def _seconds_in_air(cleaned: Cleaned, clock: Floats, flights: list[Whole]) -> float:
    """Return the time of all flights less the waits at their ends; NaN where no flight has times."""
    timed = [rows for rows in flights if np.isfinite(cleaned.fixes.seconds[rows]).all()]
    total = 0.0
    for rows in timed:
        seconds = _rising(clock[rows])
        total += max(0.0, float(seconds[-1]) - sum(waits_seconds(cleaned.xy[rows], seconds)))
    return total if timed else float("nan")


def _rising(clock: Floats) -> Floats:
    return np.asarray(np.r_[0.0, np.cumsum(np.maximum(np.diff(clock), 0.0))])


def _climbs_m(cleaned: Cleaned, rows: Whole) -> tuple[float, float]:
    """Return how far the ends of a flight lie below its usual height; NaN where heights are not known."""
    for column in (cleaned.fixes.height[rows], cleaned.fixes.altitude[rows]):
        known = column[np.isfinite(column)]
        if len(known) > 0.5 * len(column):
            usual = float(np.median(known))
            return usual - float(known[0]), usual - float(known[-1])
    return float("nan"), float("nan")
