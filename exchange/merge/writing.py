"""The worked-out merge as tables and a report."""

from __future__ import annotations

import re

import numpy as np
from numpy.typing import NDArray

from exchange.merge.flagging import HISTORY, SEE_ALSO, SEPARATOR, flag_sightings, flag_spots
from exchange.merge.keys import KEY_DIGITS, write_keys
from exchange.merge.listing import FLAGS, SIGHTING_KEYS, SPOT, list_spots
from exchange.merge.merged import Evidence, Merged
from exchange.merge.reporting import report_merge
from exchange.merge.sightings import RADIUS_95
from exchange.merge.work import Work
from exchange.model.columns import ForeignColumn
from exchange.model.detections import Detections
from exchange.model.spot_number import ALIASES, read_counts

Floats = NDArray[np.float64]
Codes = NDArray[np.int64]

SHIFT_EAST, SHIFT_NORTH = "shift_east_m", "shift_north_m"


def write_merged(work: Work) -> Merged:
    """Return the list, the sightings with their spots, the evidence and the report."""
    spots = _write_spots(work)
    told = work.basis.rows.take(slice(0, work.basis.told))
    number = np.array([*work.numbering.number, ""], object)
    extra = {
        SPOT: number[work.spread_groups()[: work.basis.told]],
        SHIFT_EAST: _spread(work, work.shifts.taken_east[work.part.sortie]),
        SHIFT_NORTH: _spread(work, work.shifts.taken_north[work.part.sortie]),
        FLAGS: flag_sightings(work),
    }
    return Merged(
        spots=spots,
        sightings=told.replace(extra={**told.extra, **extra}),
        evidence=_write_evidence(work, number),
        report=report_merge(work, spots, extra[SPOT]),
    )


def _spread(work: Work, values: Floats) -> Floats:
    place = work.part.of_row[: work.basis.told]
    return np.where(place >= 0, values[place] if len(values) else np.nan, np.nan)


def _write_evidence(work: Work, number: NDArray[np.object_]) -> Evidence:
    group, variance = work.group, work.variance
    square = (work.east - work.fused.east[group]) ** 2 + (work.north - work.fused.north[group]) ** 2
    rival = np.concatenate([work.grouping.rival, [-1]])[work.part.of_row[: work.basis.told]]
    return Evidence(
        distance=_spread(work, np.sqrt(square / (variance + work.fused.variance[group]))),
        runner_up=number[rival],
        runner_up_worse=_spread(work, work.grouping.worse),
    )


def _write_spots(work: Work) -> Detections:
    """Return the list in the order of its numbers; a spot of which nothing new was told stands as it was."""
    rows, group, earlier = work.part.row, work.group, work.basis.list
    longitude, latitude = work.part.local.to_degrees(work.fused.east, work.fused.north)
    accuracy = RADIUS_95 * np.sqrt(work.fused.variance + _find_datum_variance(work))
    made = list_spots(work.basis.rows.take(rows), group, longitude, latitude, accuracy)
    made = _carry(made, work)
    made = made.replace(
        id=work.numbering.number,
        extra={
            **made.extra,
            ALIASES: work.numbering.aliases,
            FLAGS: _join_flags(work),
            SIGHTING_KEYS: _join_keys(work),
        },
    )
    is_listed = work.basis.is_listed[rows] & ~work.shifts.applied[work.part.sortie]
    still = (np.bincount(group, is_listed) == 1) & (np.bincount(group) == 1) if len(rows) else np.zeros(0, bool)
    unseen = np.setdiff1d(np.arange(len(earlier)), work.basis.known[rows])
    stands = np.concatenate([work.numbering.keeper[still], unseen])
    if still.any() or len(stands):
        made = Detections.join([part for part in (made.take(~still), earlier.take(stands)) if len(part)])
    return made.take(_sort_numbers(made))


def _find_datum_variance(work: Work) -> Floats:
    """Return for each spot the variance of what its sorties are measured against, the least of them."""
    least = np.full(len(work.fused.east), np.inf)
    np.minimum.at(least, work.group, work.shifts.datum_variance[work.part.sortie])
    return least


def _carry(made: Detections, work: Work) -> Detections:
    """Return the list with what the earlier one says of a spot and no sighting can: status, names, foreign columns."""
    keeper, earlier = work.numbering.keeper, work.basis.list
    kept = np.flatnonzero(keeper >= 0)
    if not len(kept):
        return made
    changes = {}
    for name in ("status", "name", "note"):
        column = getattr(made, name).copy()
        carried = getattr(earlier, name)[keeper[kept]]
        column[kept] = np.where(carried != "", carried, column[kept])
        changes[name] = column
    foreign = {name: column for name, column in earlier.extra.items() if name not in made.extra}
    extra = {name: _scatter(column, kept, keeper[kept], len(made)) for name, column in foreign.items()}
    return made.replace(**changes, extra={**extra, **made.extra})


def _scatter(column: ForeignColumn, places: Codes, rows: Codes, count: int) -> ForeignColumn:
    spread = np.full(count, None, object)
    spread[places] = column[rows].astype(object) if column.dtype.kind != "M" else list(column[rows])
    return spread


def _join_flags(work: Work) -> NDArray[np.object_]:
    flags = flag_spots(work)
    earlier = work.basis.list.extra.get(FLAGS)
    if earlier is not None:
        for index in np.flatnonzero(work.numbering.keeper >= 0).tolist():
            told = (earlier[work.numbering.keeper[index]] or "").split(SEPARATOR)
            if any(one in HISTORY for one in told):
                history = [one for one in told if one in HISTORY or one.startswith(SEE_ALSO)]
                flags[index] = list(dict.fromkeys([*history, *flags.get(index, ())]))
    joined = np.full(len(work.numbering.number), "", object)
    for index, texts in flags.items():
        joined[index] = SEPARATOR.join(texts)
    return joined


def _join_keys(work: Work) -> list[str]:
    """Return for each group the keys of all its sightings, also of those that only an earlier list contains."""
    if not len(work.group):
        return []
    contained = work.basis.list.extra.get(SIGHTING_KEYS)
    order = np.argsort(work.group, kind="stable")
    if contained is not None:
        # Such a list tells its sightings; its spots themselves are none.
        order = order[~work.basis.is_listed[work.part.row[order]]]
    text = write_keys(work.part.key[order])
    size = np.bincount(work.group[order], minlength=len(work.numbering.number))
    begins = (np.cumsum(size) - size) * (KEY_DIGITS + 1)
    ends = np.maximum(begins + size * (KEY_DIGITS + 1) - 1, begins)
    joined = list(map(text.__getitem__, map(slice, begins.tolist(), ends.tolist())))
    if contained is not None and work.basis.is_listed.any():
        for index in np.flatnonzero(work.numbering.keeper >= 0).tolist():
            joined[index] = " ".join(filter(None, [contained[work.numbering.keeper[index]], joined[index]]))
    return joined


def _sort_numbers(spots: Detections) -> Codes:
    ids = spots.id.tolist()
    if _is_of_one_series(ids):
        text = np.array(ids, np.str_)
        return np.lexsort((text, np.strings.str_len(text)))
    series = sorted({one.partition("-")[0] for one in ids})
    counts = [read_counts(ids, one) if one.isalpha() and one.isupper() else np.zeros(len(ids)) for one in series]
    count = np.maximum.reduce([np.zeros(len(ids), np.int64), *counts]).astype(np.int64)
    letters = np.searchsorted(series, [one.partition("-")[0] for one in ids])
    return np.lexsort((np.arange(len(ids)), count, letters, count == 0))


def _is_of_one_series(ids: list[str]) -> bool:
    """Tell whether all are numbers of one series of letters, so that length and text sort them as their counts do."""
    first = ids[0].partition("-")[0] if ids else ""
    return first.isalpha() and first.isupper() and all(map(re.compile(f"{first}-[0-9]+").fullmatch, ids))
