"""The door: sightings in, one numbered list out."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from exchange.merge.accuracies import fill_accuracies
from exchange.merge.continuing import EARLIER_LIST, Basis, lay_basis
from exchange.merge.earlier import Earlier
from exchange.merge.fusing import Fused, fuse_positions
from exchange.merge.grouping import Grouping, group_sightings
from exchange.merge.inheriting import measure_distances
from exchange.merge.merged import Merged
from exchange.merge.numbering import Numbering, number_spots
from exchange.merge.options import MergeOptions
from exchange.merge.shifts import Compute, Shifts, find_shifts
from exchange.merge.sightings import Sightings, order_sightings
from exchange.merge.work import Work
from exchange.merge.writing import write_merged
from exchange.model.detections import Detections

Floats = NDArray[np.float64]
Codes = NDArray[np.int64]
Grouper = Callable[..., Grouping]


def merge_detections(
    sightings: Detections,
    *,
    onto: Earlier | Detections | None = None,
    options: MergeOptions = MergeOptions(),  # noqa: B008  # frozen
) -> Merged:
    """Return one list in which each hot spot that the sightings show stands once, under a number that stays.

    The order of the rows changes nothing, and neither does merging the same sightings again.

    Parameters
    ----------
    sightings
        Of any number of sorties; markers that are no hotspot have been left out.
    onto
        The earlier list whose numbers are to be kept, or nothing.
    options
        How sightings are compared and numbered.

    Raises
    ------
    ModelError
        When an accuracy is not positive or a position is not on the earth.

    Examples
    --------
    >>> seen = Detections(
    ...     longitude=[-114.0, -114.00001, -114.01], latitude=[44.5, 44.50001, 44.5], accuracy=4.0, sortie=list("ABA")
    ... )
    >>> merged = merge_detections(seen)
    >>> merged.spots.id.tolist(), merged.sightings.extra["spot"].tolist()
    (['H-001', 'H-002'], ['H-002', 'H-002', 'H-001'])
    """
    return merge_with(sightings, onto=onto, options=options, group=group_sightings)


def merge_with(
    sightings: Detections,
    *,
    onto: Earlier | Detections | None,
    options: MergeOptions,
    group: Grouper,
    compute: Compute = map,
) -> Merged:
    """Return what ``merge_detections`` returns, with a way of grouping that gives what ``group_sightings`` gives.

    Parameters
    ----------
    sightings, onto, options
        As in ``merge_detections``.
    group
        Takes the arguments of ``group_sightings``.
    compute
        What works out how the sorties lie to each other, block by block.

    Raises
    ------
    ModelError
        As in ``merge_detections``.
    """
    basis = lay_basis(sightings, onto)
    part = order_sightings(
        basis.rows, accuracy_m=options.accuracy_m, one_image=basis.is_listed, left_out=basis.is_contained
    )
    shifts = find_shifts(part, options, held=EARLIER_LIST, compute=compute)
    east, north = part.east - shifts.taken_east[part.sortie], part.north - shifts.taken_north[part.sortie]
    variance = fill_accuracies(part, shifts)
    grouping = group(part, east, north, variance, shifts.yardstick, within_m=options.within_m)
    fused = fuse_positions(grouping.group, east, north, variance)
    numbering = _number(basis, part, grouping.group, fused, shifts, options)
    return write_merged(
        Work(
            basis=basis,
            part=part,
            shifts=shifts,
            east=east,
            north=north,
            variance=variance,
            grouping=grouping,
            fused=fused,
            numbering=numbering,
        )
    )


def _number(
    basis: Basis, part: Sightings, group: Codes, fused: Fused, shifts: Shifts, options: MergeOptions
) -> Numbering:
    known = basis.known[part.row]
    places = part.local.to_metres(basis.list.longitude, basis.list.latitude)
    distance = measure_distances(group, known, fused, np.column_stack(places), shifts.net[part.sortie])
    new_order = _order_new(part, group)
    return number_spots(group, known, distance, basis.list, new_order, options.series, after_count=options.after_count)


def _order_new(part: Sightings, group: Codes) -> Codes:
    """Return the groups in the order of their first sightings: sorties by their begin, within one by time and place."""
    begin = np.full(len(part.sortie_names), np.inf)
    seconds = np.nan_to_num(part.seconds, nan=np.inf)
    np.minimum.at(begin, part.sortie, seconds)
    turn = np.argsort(np.argsort(begin, kind="stable"), kind="stable")
    order = np.lexsort((seconds, turn[part.sortie]))
    first = np.empty(int(group.max(initial=-1)) + 1, np.int64)
    first[group[order[::-1]]] = np.arange(len(order))[::-1]
    return np.argsort(first, kind="stable")
