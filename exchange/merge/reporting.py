"""The report of a merge."""

from __future__ import annotations

from collections import Counter

import numpy as np
from numpy.typing import NDArray

from exchange.merge.continuing import EARLIER_LIST
from exchange.merge.flagging import MAY_BE, SEE_ALSO, SEPARATOR
from exchange.merge.listing import FLAGS
from exchange.merge.report import MergeReport, SortieReport
from exchange.merge.sightings import RADIUS_95, split_by_sortie
from exchange.merge.work import Work
from exchange.model.detections import Detections

Codes = NDArray[np.int64]


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
    part = work.part
    begin = np.full(len(part.sortie_names), np.inf)
    np.minimum.at(begin, part.sortie, np.nan_to_num(part.seconds, nan=np.inf))
    turn = np.argsort(begin, kind="stable").tolist()
    first = _find_first_sorties(work, turn)
    place = part.of_row[: work.basis.told]
    rows = split_by_sortie(part.sortie, len(turn))
    told = np.bincount(part.sortie[place[place >= 0]], minlength=len(turn))
    return tuple(
        _report_sortie(work, code, rows[code], first, int(told[code]))
        for code in turn
        if part.sortie_names[code] != EARLIER_LIST
    )


def _find_first_sorties(work: Work, turn: list[int]) -> Codes:
    """Return for each group the sortie that saw it first; -1 where the earlier list knows it."""
    rank = np.empty(len(turn), np.int64)
    rank[turn] = np.arange(len(turn))
    first = np.full(len(work.numbering.number), len(turn))
    np.minimum.at(first, work.group, rank[work.part.sortie])
    found = np.array([*turn, -1])[first]
    return np.where(work.numbering.keeper >= 0, -1, found)


def _report_sortie(work: Work, code: int, rows: Codes, first: Codes, told: int) -> SortieReport:
    part, shifts = work.part, work.shifts
    spots = np.unique(work.group[rows])
    aircraft = work.basis.rows.aircraft[part.row[rows]]
    return SortieReport(
        sortie=part.sortie_names[code],
        aircraft=next(filter(None, aircraft), ""),
        sightings=told,
        told_twice=told - len(rows),
        accuracy_m=float(RADIUS_95 * np.sqrt(np.median(work.variance[rows]))),
        accuracy_estimated=bool(np.isnan(part.variance[rows]).any()),
        shift_east_m=float(shifts.east[code]),
        shift_north_m=float(shifts.north[code]),
        shift_error_m=float(shifts.error[code]),
        shift_support=int(shifts.support[code]),
        shift_applied=bool(shifts.applied[code]),
        shift_reason=shifts.reason[code],
        matched=int((first[spots] != code).sum()),
        new=int((first[spots] == code).sum()),
        repeats=len(rows) - len(spots),
    )
