"""Take a source out again: nothing of it is deleted, and the list is made anew without it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from exchange.incident.merging import (
    AllSightings,
    find_sightless,
    known_list,
    merge_again,
    read_all_sightings,
    read_last_options,
)
from exchange.incident.settling import settle
from exchange.ledger.act import Act, begin_act
from exchange.ledger.contents import count_rows
from exchange.ledger.database import OnWait
from exchange.ledger.findings import close_findings
from exchange.ledger.reading import find_numbers
from exchange.ledger.sources import LedgerSource, close_source, find_source
from exchange.ledger.spots import ListChange, is_in_list, read_memberships, read_merged_spots

WITHDRAW = "withdraw"
_UNCHANGED = ListChange(new=(), changed=(), gone=())


@dataclass(frozen=True, kw_only=True)
class Withdrawn:
    """What was withdrawn, and how the list changed by it."""

    source: LedgerSource
    sightings: int
    notes: int
    change: ListChange


def withdraw_source(path: Path, wanted: str, *, command: str = "", on_wait: OnWait | None = None) -> Withdrawn:
    """Withdraw a source in one act, and make anew what rested on it.

    Spots that other sources show keep their numbers; a spot that the source had joined to another has its own number
    again; one that only the source showed leaves the list, and its number is never used again.

    Parameters
    ----------
    path
        The ledger.
    wanted
        The source: its number, its name, or how its SHA-256 begins.
    command
        The command line, for the log.
    on_wait
        Called once when another program is writing.

    Raises
    ------
    LedgerError
        When no source in force, or several, are meant.
    """
    with begin_act(path, WITHDRAW, command=command, on_wait=on_wait) as act:
        source = find_source(act.connection, wanted, path=path)
        counts = {name: count_rows(act.connection, name, source.fid) for name in ("sighting", "note")}
        is_listed = is_in_list(act.connection, source.fid)
        close_source(act, source)
        close_findings(act, source=source.fid)
        change = _make_anew(act, source) if is_listed else _settle(act)
        act.report["withdrawn"] = {"source": source.fid, "name": source.name, "sha256": source.sha256}
    return Withdrawn(source=source, sightings=counts["sighting"], notes=counts["note"], change=change)


def _settle(act: Act) -> ListChange:
    settled = settle(act)
    return _UNCHANGED if settled is None else settled.change


def _make_anew(act: Act, source: LedgerSource) -> ListChange:
    before = source.from_act - 1
    sightings = _keep_listed(act, read_all_sightings(act))
    members, numbers = _recall_members(act, sightings, before)
    then = read_merged_spots(act.connection, at_act=before)
    earlier = known_list(act, sightings, members, numbers, before=then)
    beside = find_sightless(act, numbers)
    return merge_again(act, sightings, earlier, read_last_options(act), beside=beside).change


def _keep_listed(act: Act, sightings: AllSightings) -> AllSightings:
    """Return the sightings that were part of the list: what no merge has taken in yet is no matter of a withdrawal."""
    members, _ = read_memberships(act.connection, at_act=act.number)
    rows = np.flatnonzero(np.isin(sightings.fids, members))
    return AllSightings(sightings.rows.take(rows), sightings.fids[rows])


def _recall_members(act: Act, sightings: AllSightings, before: int) -> tuple[NDArray[np.int64], NDArray[Any]]:
    """Return what each sighting was part of before the source came in, or else is part of now."""
    now = find_numbers(sightings.fids, *read_memberships(act.connection, at_act=act.number))
    then = find_numbers(sightings.fids, *read_memberships(act.connection, at_act=before))
    return sightings.fids, np.where(then != "", then, now)
