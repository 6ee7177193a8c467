"""The shift of each sortie, where the evidence carries it, and its accuracy where the file states none."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from exchange.merge.grouping import Yardstick, learn_yardstick, link_by_accuracy
from exchange.merge.keys import mix
from exchange.merge.options import MergeOptions
from exchange.merge.shifts.adjustment import adjust_shifts, estimate_variances
from exchange.merge.shifts.differences import Differences, collect_differences
from exchange.merge.shifts.network import Link, solve_network
from exchange.merge.shifts.voting import MATCHED, REACH_M, Peak, find_pattern, find_peak
from exchange.merge.sightings import Sightings

Floats = NDArray[np.float64]
Codes = NDArray[np.int64]
Mask = NDArray[np.bool_]

LEAST_MARGIN = 10.0
"""Natural logarithm by which the best shift must beat all others: 20000 to 1. Chance reaches about 10 where sorties
share nothing (simulated fires)."""

LEAST_SUPPORT = 4
MOST_PATTERN = 0.45
"""Share of the first peak from which the next one makes a regular pattern; scattered spots stay below 0.4, square
lattices of 14 by 14 above 0.48 (simulated fires)."""

FIRST_GUESS_M = 1.0
ROUNDS = 3

MOST_SIGHTINGS = 10_000
"""Shifts and accuracies are found from about so many; more make them no better worth the time."""

CELL_M = 200.0

TAKEN_OUT = "shift taken out"
PATTERN = "unshifted: the spots form a regular pattern, which several shifts explain as well"
TOO_FEW = "unshifted: too few spots are shared with other sorties to find the shift"
NOT_ASKED = "no shift looked for"
FIXED = "holds the others in place"


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
        How many of its sightings carry it.
    applied
        Whether it is to be taken out.
    reason
        Why, or why not.
    variance
        Of one sighting per axis, as estimated, square metres.
    datum_variance
        Of the common place of all sorties, per axis, square metres: 0 where something fixes it.
    yardstick
        What the sightings teach about any two of them.
    """

    east: Floats
    north: Floats
    error: Floats
    support: Codes
    applied: Mask
    reason: tuple[str, ...]
    variance: Floats
    datum_variance: float
    yardstick: Yardstick

    @property
    def taken_east(self) -> Floats:
        """What is taken off the positions of each sortie, metres."""
        return np.where(self.applied, self.east, 0.0)

    @property
    def taken_north(self) -> Floats:
        """What is taken off the positions of each sortie, metres."""
        return np.where(self.applied, self.north, 0.0)

    @property
    def left_alone(self) -> Mask:
        """Which sorties were to be shifted and could not be."""
        return np.array([text.startswith("unshifted") for text in self.reason], bool)


def find_shifts(sightings: Sightings, options: MergeOptions) -> Shifts:
    """Return the shifts and accuracies of all sorties."""
    count = len(sightings.sortie_names)
    links: list[Link] = []
    peaks: list[Peak] = []
    sightings = _choose_sample(sightings)
    if options.shift == "estimate" and count > 1:
        links, peaks = _vote_all(sightings)
    pattern = find_pattern(peaks) > MOST_PATTERN
    place, net = solve_network(count, [] if pattern else links)
    applied = np.bincount(net, minlength=count)[net] > 1
    variance = _guess_variances(sightings, links)
    place, variance, support, yardstick = _refine_by_groups(sightings, place, variance, applied)
    place = _centre(place, net, applied)
    reason = [TAKEN_OUT if one else PATTERN if pattern else TOO_FEW for one in applied]
    if options.shift == "none" or count < 2:
        reason = [NOT_ASKED] * count
    error = np.where(applied, np.sqrt(2 * variance / np.maximum(support, 1)), np.nan)
    return Shifts(
        east=np.where(applied, place[:, 0], np.nan),
        north=np.where(applied, place[:, 1], np.nan),
        error=error,
        support=support,
        applied=applied,
        reason=tuple(reason),
        variance=variance,
        datum_variance=_spread_of_datum(place, applied),
        yardstick=yardstick,
    )


def _choose_sample(sightings: Sightings) -> Sightings:
    """Return all sightings, or where they are many those of some cells, chosen by a lot that hangs on the place."""
    if len(sightings) <= MOST_SIGHTINGS:
        return sightings
    column = np.floor(sightings.east / CELL_M).astype(np.int64).astype(np.uint64)
    line = np.floor(sightings.north / CELL_M).astype(np.int64).astype(np.uint64)
    lot = mix(mix(column) ^ line) >> np.uint64(32)
    return sightings.take(np.flatnonzero(lot < 2**32 * MOST_SIGHTINGS // len(sightings)))


def _vote_all(sightings: Sightings) -> tuple[list[Link], list[Peak]]:
    links, peaks = [], []
    for differences in collect_differences(sightings.east, sightings.north, sightings.sortie, sightings.key):
        peak = find_peak(differences.voter, differences.east, differences.north)
        if peak.margin < LEAST_MARGIN:
            continue
        link = _refine(differences, peak)
        if link.support >= LEAST_SUPPORT:
            links.append(link)
            peaks.append(peak)
    return links, peaks


def _refine(differences: Differences, peak: Peak) -> Link:
    """Return the link after iterated means of the differences near the peak."""
    near = np.hypot(differences.east - peak.east, differences.north - peak.north) < 4 * max(peak.width, 1.5)
    east, north, voter = differences.east[near], differences.north[near], differences.voter[near]
    voters = int(differences.voter.max()) + 1
    crowd = np.bincount(differences.voter, minlength=voters) / (np.pi * REACH_M**2)
    x, y, variance = peak.east, peak.north, peak.width**2
    for _ in range(20):
        square = (east - x) ** 2 + (north - y) ** 2
        height = np.exp(-square / (2 * variance)) / (2 * np.pi * variance)
        total = np.bincount(voter, height, minlength=voters)
        weight = MATCHED * height / ((1 - MATCHED) * crowd[voter] + MATCHED * total[voter])
        support = max(float(weight.sum()), 1e-9)
        x, y = float(weight @ east / support), float(weight @ north / support)
        variance = max(float(weight @ square / (2 * support)), 0.02)
    return Link(
        first=differences.first,
        second=differences.second,
        east=x,
        north=y,
        variance=variance / support,
        support=support,
        worth=peak.margin,
    )


def _guess_variances(sightings: Sightings, links: list[Link]) -> Floats:
    """Return a variance for each sortie: half that of its differences, or what the sightings state, or 1 m."""
    count = len(sightings.sortie_names)
    total, weight = np.zeros(count), np.zeros(count)
    for link in links:
        for code in (link.first, link.second):
            total[code] += link.variance * link.support * link.support / 2
            weight[code] += link.support
    stated = np.nanmedian(sightings.variance) if np.isfinite(sightings.variance).any() else FIRST_GUESS_M**2
    return np.where(weight > 0, total / np.maximum(weight, 1e-9), stated)


def _refine_by_groups(
    sightings: Sightings, place: Floats, variance: Floats, applied: Mask
) -> tuple[Floats, Floats, Codes, Yardstick]:
    """Return shifts and variances after grouping with the first ones and adjusting both to the groups, in rounds."""
    count = len(sightings.sortie_names)
    given = np.column_stack([sightings.east, sightings.north])
    sortie = sightings.sortie
    support = np.zeros(count, np.int64)
    yardstick = learn_yardstick(sightings, sightings.east, sightings.north, variance[sortie])
    for _ in range(ROUNDS):
        own = np.where(np.isnan(sightings.variance), variance[sortie], sightings.variance)
        moved = given - np.where(applied[:, None], place, 0.0)[sortie]
        yardstick = learn_yardstick(sightings, moved[:, 0], moved[:, 1], own)
        group = link_by_accuracy(sightings, moved[:, 0], moved[:, 1], own, yardstick)
        place = adjust_shifts(group, sortie, given, 1 / own, np.where(applied[:, None], place, 0.0), applied)
        moved = given - place[sortie]
        found = estimate_variances(group, sortie, moved, own, count)
        variance = np.where(np.isnan(found), variance, found)
        support = _count_shared(group, sortie, count)
    return place, variance, support, yardstick


def _count_shared(group: Codes, sortie: Codes, count: int) -> Codes:
    couple = np.unique(group * count + sortie)
    holder = couple // count
    several = np.bincount(holder)[holder] > 1
    return np.bincount(couple[several] % count, minlength=count)


def _centre(place: Floats, net: Codes, applied: Mask) -> Floats:
    place = np.where(applied[:, None], place, 0.0)
    for code in np.unique(net):
        place[net == code] -= place[net == code].mean(axis=0)
    return place


def _spread_of_datum(place: Floats, applied: Mask) -> float:
    """Return the variance per axis of the mean of the shifts, which nothing fixes: theirs over their number."""
    count = int(applied.sum())
    return float((place[applied] ** 2).sum() / (2 * max(count - 1, 1) * count)) if count else 0.0
