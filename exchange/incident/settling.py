"""Settle each spot's status anew from everything that was reported, as the last step of an act."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from exchange.ledger.act import Act
from exchange.ledger.contents import read_points
from exchange.ledger.findings import Finding, replace_findings
from exchange.ledger.history import read_last_report
from exchange.ledger.placements import write_placements
from exchange.ledger.spots import ListChange, read_merged_spots, write_spots
from exchange.model import Detections, Problem, StatusNotes
from exchange.model.spot_number import find_aliases

if TYPE_CHECKING:
    from exchange.status import Questions, SettleOptions

STATUS = "status"
"""The kind of a finding about a spot's status."""

SETTLE_OPTIONS = "settle_options"
"""Where an act's report keeps the options that later acts settle by."""


@dataclass(frozen=True, kw_only=True)
class SettledList:
    """What settling made of the list: the list, how it changed, and what a person must look at."""

    spots: Detections
    change: ListChange
    questions: Questions


def settle(act: Act, *, merged: Detections | None = None, options: SettleOptions | None = None) -> SettledList | None:
    """Write the list with its current status; return ``None`` where there is no list yet.

    Parameters
    ----------
    act
        The act that does it.
    merged
        The list as a merge has just made it; by default the one there is.
    options
        The span within which times do not decide; by default that of the last reconciling.
    """
    from exchange.status import settle_status

    base = read_merged_spots(act.connection, at_act=act.number) if merged is None else merged
    base = _without_former_status(base)
    if merged is None and not len(base):
        return None
    notes, fids = read_reports(act)
    settled = settle_status(base, notes, options=options or _read_options(act))
    change = write_spots(act, settled.spots, merged_status=base.status.tolist())
    _place(act, base, notes, fids)
    questions = settled.questions()
    replace_findings(act, STATUS, to_findings(STATUS, questions))
    return SettledList(spots=settled.spots, change=change, questions=questions)


def read_reports(act: Act) -> tuple[StatusNotes, NDArray[np.int64]]:
    """Return every report in force as it came, and its ``fid``."""
    batches = list(read_points(act.connection, "notes", at_act=act.number))
    tables = [rows for rows, _ in batches if isinstance(rows, StatusNotes)]
    fids = [fids for _, fids in batches]
    return StatusNotes.join(tables), np.concatenate(fids) if fids else np.zeros(0, dtype=np.int64)


def to_findings(kind: str, questions: Questions, *, source: int | None = None) -> list[Finding]:
    """Return questions as the ledger keeps them."""
    return [
        Finding(
            kind=kind,
            number=row["number"],
            source=source,
            problem=Problem(
                message=": ".join(text for text in (row["kind"], row["number"], row["words"]) if text),
                path=row["file"],
                layer=row["layer"],
                record=row["record"],
                value=row["value"],
            ),
        )
        for row in questions.as_dicts()
    ]


def _without_former_status(spots: Detections) -> Detections:
    """Return the list without what an earlier settling wrote, so that a withdrawn report leaves no trace."""
    from exchange.status.settle import FLAG, FLAG_WORDS, STATUS_AUTHOR, STATUS_TIME

    former = (FLAG, FLAG_WORDS, STATUS_AUTHOR, STATUS_TIME)
    return spots.replace(extra={name: column for name, column in spots.extra.items() if name not in former})


def _read_options(act: Act) -> SettleOptions:
    from exchange.status import SettleOptions

    return SettleOptions(**read_last_report(act.connection, SETTLE_OPTIONS))


def _place(act: Act, spots: Detections, notes: StatusNotes, fids: NDArray[np.int64]) -> None:
    names = {number: number for number in spots.id.tolist()}
    aliases = find_aliases(spots)
    found = [_find(name, names, aliases) for name in notes.detection.tolist()]
    write_placements(act, fids, [number for number, _ in found], [how for _, how in found])


def _find(name: str, names: dict[str, str], aliases: dict[str, str]) -> tuple[str, str]:
    if name in names:
        return name, "number"
    return (aliases[name], "alias") if name in aliases else ("", "nothing")
