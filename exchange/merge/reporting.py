"""The report of a merge."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from exchange.merge.continuing import EARLIER_LIST
from exchange.merge.distinct import find_distinct
from exchange.merge.flagging import MAY_BE, SEE_ALSO, SEPARATOR
from exchange.merge.listing import FLAGS
from exchange.merge.report import MergeReport, SortieReport
from exchange.merge.sightings import RADIUS_95, Sightings
from exchange.merge.work import Work
from exchange.model.detections import Detections

Codes = NDArray[np.int64]

ENOUGH = 20
"""Fewer shared sightings of a sortie do not tell whether its stated accuracy fits."""


def report_merge(work: Work, spots: Detections, number: NDArray[np.object_]) -> MergeReport:
    """Return what the merge did; ``number`` is that of each row told."""
    flags = [text.split(SEPARATOR) for text in spots.extra.get(FLAGS, np.empty(0, object)).tolist() if text]
    counted = Counter(flag for one in flags for flag in one if not flag.startswith((SEE_ALSO, MAY_BE)))
    kept = int((work.numbering.keeper >= 0).sum())
    return MergeReport(
        sorties=_report_sorties(work),
        sightings=work.basis.told,
        without_position=int((number == "").sum()),
        spots=len(spots),
        flagged=len(flags),
        kept=kept,
        new=len(work.numbering.keeper) - kept,
        joined=int(work.numbering.joined.sum()),
        divided=int((work.numbering.divided & (work.numbering.keeper >= 0)).sum()),
        flags=dict(sorted(counted.items())),
    )


def _report_sorties(work: Work) -> tuple[SortieReport, ...]:
    turn = _find_turn(work.part)
    counts = _count(work, turn)
    return tuple(
        _report_sortie(work, code, counts) for code in turn.tolist() if work.part.sortie_names[code] != EARLIER_LIST
    )


def _find_turn(part: Sightings) -> Codes:
    """Return the sorties in the order of their first sightings."""
    begin = np.full(len(part.sortie_names), np.inf)
    np.minimum.at(begin, part.sortie, np.nan_to_num(part.seconds, nan=np.inf))
    return np.argsort(begin, kind="stable")


@dataclass(frozen=True, kw_only=True, eq=False)
class _Counts:
    """Hold what is counted for each sortie."""

    told: Codes
    rows: Codes
    spots: Codes
    new: Codes
    accuracy: NDArray[np.float64]
    is_estimated: NDArray[np.bool_]
    found: NDArray[np.float64]
    aircraft: dict[int, str]


def _count(work: Work, turn: Codes) -> _Counts:
    part, count = work.part, len(turn)
    place = part.of_row[: work.basis.told]
    couple = find_distinct(part.sortie * len(work.numbering.number) + work.group)
    sortie, group = couple // max(len(work.numbering.number), 1), couple % max(len(work.numbering.number), 1)
    first = _find_first_sorties(work, turn)
    return _Counts(
        told=np.bincount(part.sortie[place[place >= 0]], minlength=count),
        rows=np.bincount(part.sortie, minlength=count),
        spots=np.bincount(sortie, minlength=count),
        new=np.bincount(sortie[first[group] == sortie], minlength=count),
        accuracy=RADIUS_95 * np.sqrt(_find_medians(work.variance, part.sortie, count)),
        is_estimated=np.bincount(part.sortie, np.isnan(part.variance), minlength=count) > 0,
        found=np.where(work.shifts.support >= ENOUGH, RADIUS_95 * np.sqrt(work.shifts.variance), np.nan),
        aircraft=_find_aircraft(work),
    )


def _find_medians(values: NDArray[np.float64], sortie: Codes, count: int) -> NDArray[np.float64]:
    order = np.argsort(sortie, kind="stable")
    size = np.bincount(sortie, minlength=count)
    begin = np.cumsum(size) - size
    known = size > 0
    median = np.full(count, np.nan)
    ordered = values[order]
    least, most = (pick.reduceat(ordered, begin[known]) if len(order) else ordered for pick in (np.minimum, np.maximum))
    median[known] = least
    for code in np.flatnonzero(known)[least < most].tolist():
        median[code] = np.median(ordered[begin[code] : begin[code] + size[code]])
    return median


def _find_aircraft(work: Work) -> dict[int, str]:
    """Return the first aircraft that each sortie names, if it names one."""
    aircraft = work.basis.rows.aircraft[work.part.row]
    named = np.flatnonzero(aircraft != "")
    sorties, first = np.unique(work.part.sortie[named], return_index=True)
    return dict(zip(sorties.tolist(), aircraft[named[first]].tolist(), strict=True))


def _find_first_sorties(work: Work, turn: Codes) -> Codes:
    """Return for each group the sortie that saw it first; -1 where the earlier list knows it."""
    rank = np.empty(len(turn), np.int64)
    rank[turn] = np.arange(len(turn))
    first = np.full(len(work.numbering.number), len(turn))
    np.minimum.at(first, work.group, rank[work.part.sortie])
    found = np.append(turn, -1)[first]
    return np.where(work.numbering.keeper >= 0, -1, found)


def _report_sortie(work: Work, code: int, counts: _Counts) -> SortieReport:
    shifts = work.shifts
    return SortieReport(
        sortie=work.part.sortie_names[code],
        aircraft=counts.aircraft.get(code, ""),
        sightings=int(counts.told[code]),
        told_twice=int(counts.told[code] - counts.rows[code]),
        accuracy_m=float(counts.accuracy[code]),
        accuracy_estimated=bool(counts.is_estimated[code]),
        accuracy_repeats_m=float(counts.found[code]),
        shift_east_m=float(shifts.east[code]),
        shift_north_m=float(shifts.north[code]),
        shift_error_m=float(shifts.error[code]),
        shift_support=int(shifts.support[code]),
        shift_applied=bool(shifts.applied[code]),
        shift_reason=shifts.reason[code],
        matched=int(counts.spots[code] - counts.new[code]),
        new=int(counts.new[code]),
        repeats=int(counts.rows[code] - counts.spots[code]),
    )
