"""The shift of each sortie, where the evidence carries it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from exchange.merge.options import MergeOptions
from exchange.merge.shifts.differences import Differences, collect_differences
from exchange.merge.shifts.network import Link, solve_network
from exchange.merge.shifts.voting import Peak, find_peak
from exchange.merge.sightings import Sightings

Floats = NDArray[np.float64]
Codes = NDArray[np.int64]

MOST_RIVAL = 0.7
"""A second peak above this share of the first makes a shift ambiguous."""

LEAST_HEIGHT = 12.0
LEAST_SUPPORT = 4


@dataclass(frozen=True, kw_only=True, eq=False)
class Shifts:
    """Hold what was found for each sortie.

    Attributes
    ----------
    east, north
        How far it lies off, metres; NaN where nothing was found.
    error
        Standard error per axis, metres.
    support
        How many pairs of sightings carry it.
    applied
        Whether it is to be taken out.
    reason
        Why, or why not.
    variance
        Of one sighting per axis, as estimated, square metres.
    datum_variance
        Of the common place of all sorties, per axis, square metres: 0 where something fixes it.
    """

    east: Floats
    north: Floats
    error: Floats
    support: Codes
    applied: NDArray[np.bool_]
    reason: tuple[str, ...]
    variance: Floats
    datum_variance: float

    @property
    def taken_east(self) -> Floats:
        """What is taken off the positions of each sortie, metres."""
        return np.where(self.applied, self.east, 0.0)

    @property
    def taken_north(self) -> Floats:
        """What is taken off the positions of each sortie, metres."""
        return np.where(self.applied, self.north, 0.0)

    @property
    def left_alone(self) -> NDArray[np.bool_]:
        """Which sorties were to be shifted and could not be."""
        return np.array([text.startswith("unshifted") for text in self.reason], bool)


def find_shifts(sightings: Sightings, options: MergeOptions) -> Shifts:
    """Return the shifts, or none where none are wanted."""
    if options.shift == "none" or len(sightings.sortie_names) < 2:
        return _leave(len(sightings.sortie_names))
    return estimate_shifts(sightings)


def _leave(count: int) -> Shifts:
    nothing = np.full(count, np.nan)
    return Shifts(
        east=nothing,
        north=nothing,
        error=nothing,
        support=np.zeros(count, np.int64),
        applied=np.zeros(count, bool),
        reason=("no shift looked for",) * count,
        variance=np.ones(count),
        datum_variance=0.0,
    )


def estimate_shifts(sightings: Sightings) -> Shifts:
    """Return the shifts of all sorties against the mean of those that they share spots with."""
    count = len(sightings.sortie_names)
    links, support = [], np.zeros(count, np.int64)
    ambiguous = np.zeros(count, bool)
    for differences in collect_differences(sightings.east, sightings.north, sightings.sortie, sightings.key):
        peak = find_peak(differences.voter, differences.east, differences.north)
        if peak.height < LEAST_HEIGHT:
            continue
        if peak.rival > MOST_RIVAL:
            ambiguous[[differences.first, differences.second]] = True
            continue
        link, pairs = _refine(differences, peak)
        if pairs < LEAST_SUPPORT:
            continue
        links.append(link)
        support[[link.first, link.second]] += round(pairs)
    place, net = solve_network(count, links)
    applied = np.bincount(net, minlength=count)[net] > 1
    reason = tuple(_explain(bool(a), bool(b)) for a, b in zip(applied, ambiguous, strict=True))
    error = np.where(applied, _find_errors(count, links), np.nan)
    return Shifts(
        east=np.where(applied, place[:, 0], np.nan),
        north=np.where(applied, place[:, 1], np.nan),
        error=error,
        support=support,
        applied=applied,
        reason=reason,
        variance=np.ones(count),
        datum_variance=0.0,
    )


def _refine(differences: Differences, peak: Peak) -> tuple[Link, float]:
    """Return the link after iterated means of the differences near the peak, and how many pairs carry it."""
    east, north, variance = peak.east, peak.north, peak.width**2
    voters = int(differences.voter.max()) + 1
    for _ in range(15):
        square = (differences.east - east) ** 2 + (differences.north - north) ** 2
        height = np.exp(-square / (2 * variance)) / (2 * np.pi * variance)
        rest = np.bincount(differences.voter, height, minlength=voters)
        weight = height / (rest[differences.voter] + 0.01)
        total = float(weight.sum())
        east, north = float(weight @ differences.east / total), float(weight @ differences.north / total)
        variance = min(max(float(weight @ square / (2 * total)), 0.02), 16.0)
    error = variance / max(total, 1.0)
    link = Link(
        first=differences.first,
        second=differences.second,
        east=east,
        north=north,
        variance=error,
        worth=peak.height * (1 - peak.rival),
    )
    return link, total


def _find_errors(count: int, links: list[Link]) -> Floats:
    weight = np.zeros(count)
    for link in links:
        weight[link.first] += 1 / link.variance
        weight[link.second] += 1 / link.variance
    return np.sqrt(1 / np.maximum(weight, 1e-12))


def _explain(applied: bool, ambiguous: bool) -> str:
    if applied:
        return "shift taken out"
    if ambiguous:
        return "unshifted: several shifts explain it as well, as a regular pattern of spots does"
    return "unshifted: too few spots are shared with other sorties"
