"""The shift of each sortie, where the evidence carries it, and its accuracy where the file states none."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from exchange.merge.distinct import find_distinct
from exchange.merge.grouping import Yardstick, learn_yardstick, link_by_accuracy
from exchange.merge.options import MergeOptions
from exchange.merge.shifts.adjustment import adjust_shifts, estimate_variances
from exchange.merge.shifts.datum import Datum, centre_nets, hold_control, hold_sortie
from exchange.merge.shifts.linking import Compute, link_sorties
from exchange.merge.shifts.network import Links, find_nets, solve_network
from exchange.merge.shifts.voting import find_pattern
from exchange.merge.sightings import MOST_SIGHTINGS, Sightings, choose_sample, split_by_sortie

Floats = NDArray[np.float64]
Codes = NDArray[np.int64]
Mask = NDArray[np.bool_]

MOST_PATTERN = 0.45
"""Share of the first peak from which the next one makes a regular pattern; scattered spots stay below 0.4, square
lattices of 14 by 14 above 0.48 (simulated fires)."""

FIRST_GUESS_M = 1.0

ROUNDS = ((4_000, 3), (MOST_SIGHTINGS, 2))
"""Up to how many sightings are grouped and adjusted how often; where there are more, once. The more there are, the
better the first round: on a season of 100,000 the second changes no shift's error by a millimetre."""

ENOUGH_TO_ADJUST = 100
"""Sightings of a sortie that its shift and accuracy are adjusted to where they are many: the shift is then known to a
tenth of the noise."""

TAKEN_OUT = "shift taken out"
PATTERN = "unshifted: the spots form a regular pattern, which several shifts explain as well"
TOO_FEW = "unshifted: too few spots are shared with other sorties to find the shift"
NOT_ASKED = "no shift looked for"
FIXED = "holds the others in place"
AGAINST_CONTROL = "shift taken out, measured against control"


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
        Of what each sortie is measured against, per axis, square metres.
    yardstick
        What the sightings teach about any two of them.
    net
        Sorties that are measured against each other share a code.
    """

    east: Floats
    north: Floats
    error: Floats
    support: Codes
    applied: Mask
    reason: tuple[str, ...]
    variance: Floats
    datum_variance: Floats
    yardstick: Yardstick
    net: Codes

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


def find_shifts(sightings: Sightings, options: MergeOptions, *, held: str = "", compute: Compute = map) -> Shifts:
    """Return the shifts and accuracies of all sorties.

    Parameters
    ----------
    sightings
        Of all sorties.
    options
        Whether shifts are looked for, and the control.
    held
        Name of the sortie that stays where it is, such as the earlier list; empty where there is none.
    compute
        What works out how the sorties lie to each other, block by block.
    """
    names = sightings.sortie_names
    part = sightings.take(choose_sample(sightings))
    control = _place_control(sightings, options)
    links = link_sorties(part, compute=compute) if options.shift == "estimate" else Links.join([])
    links, is_pattern = _drop_patterns(len(names), links)
    place, net = solve_network(len(names), links)
    in_net = np.bincount(net, minlength=len(names))[net] > 1
    tied = net if options.shift == "estimate" else np.zeros_like(net)
    place, variance, support, yardstick = _refine_by_groups(
        part.take(choose_sample(part, enough=ENOUGH_TO_ADJUST)), place, _guess_variances(part, links), in_net, tied
    )
    datum = _fix(part, place, net, control, held)
    yardstick = replace(yardstick, ties=yardstick.ties.tie(datum.is_fixed))
    applied = in_net | datum.is_fixed
    own_error = np.where(in_net, np.sqrt(2 * variance / np.maximum(support, 1)), 0.0)
    if not len(control) and held in names:
        applied[names.index(held)] = False
    reason = _give_reasons(applied, is_pattern, datum.is_fixed & bool(len(control)))
    if not len(control) and held in names:
        reason[names.index(held)] = FIXED
    if options.shift == "none" or (len(names) < 2 and not len(control)):
        reason = [NOT_ASKED] * len(names)
    return Shifts(
        east=np.where(applied, datum.place[:, 0], np.nan),
        north=np.where(applied, datum.place[:, 1], np.nan),
        error=np.where(applied, np.hypot(own_error, datum.error), np.nan),
        support=support,
        applied=applied,
        reason=tuple(reason),
        variance=variance,
        datum_variance=_find_datum_variances(datum, applied),
        yardstick=yardstick,
        net=net,
    )


def _give_reasons(applied: Mask, is_pattern: Mask, by_control: Mask) -> list[str]:
    left = np.where(is_pattern, PATTERN, TOO_FEW)
    return [str(text) for text in np.where(by_control, AGAINST_CONTROL, np.where(applied, TAKEN_OUT, left))]


def _drop_patterns(count: int, links: Links) -> tuple[Links, Mask]:
    """Return the links of nets whose spots form no regular pattern, and which sorties see one."""
    net = find_nets(count, links)
    own = net[links.first]
    codes = np.unique(own)
    rows = split_by_sortie(np.searchsorted(codes, own), len(codes))
    is_regular = [find_pattern(links.votes[some].sum(axis=0, dtype=np.float64)) > MOST_PATTERN for some in rows]
    regular = codes[is_regular]
    return links.take(~np.isin(own, regular)), np.isin(net, regular)


def _place_control(sightings: Sightings, options: MergeOptions) -> Floats:
    if options.control is None or options.shift == "none":
        return np.empty((0, 2))
    control = options.control.take(options.control.has_position())
    return np.column_stack(sightings.local.to_metres(control.longitude, control.latitude))


def _fix(part: Sightings, place: Floats, net: Codes, control: Floats, held: str) -> Datum:
    if len(control):
        return hold_control(part, place, net, control)
    if held in part.sortie_names:
        return hold_sortie(place, net, part.sortie_names.index(held))
    return centre_nets(place, net)


def _find_datum_variances(datum: Datum, applied: Mask) -> Floats:
    """Return the variance per axis of what each sortie is measured against.

    Where nothing fixes it, that is the mean of the shifts, whose variance is theirs over their number.
    """
    loose = applied & ~datum.is_fixed
    count = int(loose.sum())
    spread = float((datum.place[loose] ** 2).sum() / (2 * max(count - 1, 1) * count)) if count else 0.0
    return np.where(loose, spread, datum.error**2)


def _guess_variances(sightings: Sightings, links: Links) -> Floats:
    """Return a variance for each sortie: half that of its differences, or what the sightings state, or 1 m."""
    count = len(sightings.sortie_names)
    both = np.column_stack([links.first, links.second]).ravel()
    total = np.bincount(both, np.repeat(links.variance * links.support * links.support / 2, 2), minlength=count)
    weight = np.bincount(both, np.repeat(links.support, 2), minlength=count)
    stated = np.nanmedian(sightings.variance) if np.isfinite(sightings.variance).any() else FIRST_GUESS_M**2
    return np.where(weight > 0, total / np.maximum(weight, 1e-9), stated)


def _refine_by_groups(
    sightings: Sightings, place: Floats, variance: Floats, applied: Mask, net: Codes
) -> tuple[Floats, Floats, Codes, Yardstick]:
    """Return shifts and variances after grouping with the first ones and adjusting both to the groups, in rounds."""
    count = len(sightings.sortie_names)
    given = np.column_stack([sightings.east, sightings.north])
    sortie = sightings.sortie
    support = np.zeros(count, np.int64)
    for _ in range(next((rounds for most, rounds in ROUNDS if len(sightings) <= most), 1)):
        own = np.where(np.isnan(sightings.variance), variance[sortie], sightings.variance)
        moved = given - np.where(applied[:, None], place, 0.0)[sortie]
        yardstick = learn_yardstick(sightings, moved[:, 0], moved[:, 1], own, net)
        group = link_by_accuracy(sightings, moved[:, 0], moved[:, 1], own, yardstick)
        place = adjust_shifts(group, sortie, given, 1 / own, np.where(applied[:, None], place, 0.0), applied)
        moved = given - place[sortie]
        found = estimate_variances(group, sortie, sightings.image, moved, own, count)
        variance = np.where(np.isnan(found), variance, found)
        support = _count_shared(group, sortie, count)
    return place, variance, support, yardstick


def _count_shared(group: Codes, sortie: Codes, count: int) -> Codes:
    couple = find_distinct(group * count + sortie)
    holder = couple // count
    several = np.bincount(holder)[holder] > 1
    return np.bincount(couple[several] % count, minlength=count)
