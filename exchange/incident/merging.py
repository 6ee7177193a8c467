"""Fold all sightings in force into the numbered list of the ledger, every number kept."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
from numpy.typing import NDArray

from exchange.errors import LedgerError
from exchange.incident.settling import settle
from exchange.ledger.act import Act, begin_act
from exchange.ledger.cells import from_cells, to_cells
from exchange.ledger.contents import read_points
from exchange.ledger.database import OnWait
from exchange.ledger.findings import Finding, replace_findings
from exchange.ledger.history import read_last_report
from exchange.ledger.reading import SPOT, find_numbers
from exchange.ledger.spots import (
    ListChange,
    allot_numbers,
    read_memberships,
    read_merged_spots,
    read_numbers,
    read_numbers_ever_seen,
    write_memberships,
)
from exchange.model import Detections, Problem
from exchange.model.columns import has_any_value
from exchange.model.spot_number import ALIASES, join_aliases, read_counts, split_aliases

if TYPE_CHECKING:
    from exchange.merge import Earlier, Merged, MergeOptions
    from exchange.merge.coverage import Coverage
    from exchange.status import Questions

MERGE = "merge"
MERGE_OPTIONS = "merge_options"
"""Where an act's report keeps the options by which a later withdrawal merges again."""

TAKEN_OVER = "taken_over"
"""Where an act's report keeps the numbers of a list from elsewhere."""

SortieFrom = Literal["file", "folder", "layer"]
Fids = NDArray[np.int64]


@dataclass(frozen=True, kw_only=True)
class MergedLedger:
    """What a merge made of the list.

    Attributes
    ----------
    merged
        What the merge itself returned.
    spots
        The list with its current status.
    change
        Which numbers are new, changed or gone.
    moved
        How many sightings are part of another spot than before, or of one for the first time.
    questions
        What a person must look at about the status of spots.
    problems
        What was assumed.
    """

    merged: Merged
    spots: Detections
    change: ListChange
    moved: int
    questions: Questions
    problems: tuple[Problem, ...]


def merge_ledger(
    path: Path,
    *,
    options: MergeOptions | None = None,
    sortie_from: SortieFrom = "file",
    onto: Detections | None = None,
    coverage: Coverage | None = None,
    command: str = "",
    on_wait: OnWait | None = None,
) -> MergedLedger:
    """Merge all sightings in force in one act; merging again without anything new changes nothing.

    Parameters
    ----------
    path
        The ledger.
    options
        How sightings are compared; ``after_count`` is the ledger's own.
    sortie_from
        What names the sortie of rows that name none.
    onto
        A list from elsewhere whose numbers are to be kept; only where the ledger has no list yet.
    coverage
        What each sortie covered, to mark what was not seen again.
    command
        The command line, for the log.
    on_wait
        Called once when another program is writing.

    Raises
    ------
    LedgerError
        When there is no sighting, or ``onto`` is given and the ledger has a list.
    """
    from exchange.merge import MergeOptions

    with begin_act(path, MERGE, command=command, on_wait=on_wait) as act:
        sightings = read_all_sightings(act)
        if not len(sightings.fids):
            raise LedgerError("holds no sighting to merge", path=path, remedy="Add the sorties' files first.")
        chosen = _Chosen(options or MergeOptions(), sortie_from)
        earlier = _choose_earlier(act, sightings, onto)
        result = merge_again(act, sightings, earlier, chosen, coverage=coverage)
        if onto is not None:
            act.report[TAKEN_OVER] = {"numbers": onto.id.tolist()}
        act.is_needless = not (result.moved or any(vars(result.change).values()))
    return result


@dataclass(frozen=True)
class AllSightings:
    """Every sighting in force, and its ``fid``."""

    rows: Detections
    fids: Fids


def read_all_sightings(act: Act) -> AllSightings:
    """Return every sighting in force within an act."""
    batches = list(read_points(act.connection, "detections", at_act=act.number))
    tables = [rows for rows, _ in batches if isinstance(rows, Detections)]
    fids = [fids for _, fids in batches]
    return AllSightings(Detections.join(tables), np.concatenate(fids) if fids else np.zeros(0, dtype=np.int64))


@dataclass(frozen=True)
class _Chosen:
    """The options of a merge, as an act's report keeps them."""

    options: MergeOptions
    sortie_from: SortieFrom

    def to_report(self) -> dict[str, Any]:
        options = self.options
        control = None if options.control is None else _to_plain(options.control)
        lengths = {name: getattr(options, name) for name in ("within_m", "accuracy_m")}
        return {
            **{name: value for name, value in lengths.items() if value == value},
            "shift": options.shift,
            "series": options.series,
            "sortie_from": self.sortie_from,
            "control": control,
        }

    @classmethod
    def from_report(cls, report: dict[str, Any]) -> _Chosen:
        from exchange.merge import MergeOptions

        given = {**report}
        sortie_from, control = given.pop("sortie_from", "file"), given.pop("control", None)
        return cls(MergeOptions(**given, control=None if control is None else _from_plain(control)), sortie_from)


def _to_plain(rows: Detections) -> dict[str, Any]:
    held = [name for name in rows.column_names() if has_any_value(getattr(rows, name))]
    return {name: to_cells(getattr(rows, name)) for name in held}


def _from_plain(columns: dict[str, Any]) -> Detections:
    kinds = Detections.column_kinds()
    held: dict[str, Any] = {name: from_cells(cells, kinds[name]) for name, cells in columns.items()}
    return Detections(**held)


def read_last_options(act: Act) -> _Chosen:
    """Return the options of the last merge."""
    return _Chosen.from_report(read_last_report(act.connection, MERGE_OPTIONS))


def _choose_earlier(act: Act, sightings: AllSightings, onto: Detections | None) -> Earlier | None:
    from exchange.merge import Earlier

    if onto is None:
        return known_list(act, sightings, *read_memberships(act.connection, at_act=act.number))
    if len(read_merged_spots(act.connection, at_act=act.number)):
        raise LedgerError("has a numbered list of its own", path=act.path, remedy="Leave out --onto.")
    return Earlier(spots=onto)


def known_list(
    act: Act, sightings: AllSightings, members: Fids, numbers: NDArray[Any], *, before: Detections | None = None
) -> Earlier | None:
    """Return the list as a merge takes it to keep its numbers, or ``None`` where there is none.

    Parameters
    ----------
    act
        The act.
    sightings
        What is in force.
    members, numbers
        The ``fid`` of sightings that are known to be part of a spot, in order, and its number.
    before
        A list that goes before the current one where both know a number.
    """
    from exchange.merge import Earlier

    spots = _join_lists(before, read_merged_spots(act.connection, at_act=act.number))
    known = find_numbers(sightings.fids, members, numbers)
    kept = set(known.tolist())
    # A withdrawal brings nothing new, so that spots without sightings stay as they are and take no part.
    kept |= set() if before is not None else _list_sightless(act, spots, kept)
    spots = spots.take([row for row, name in enumerate(spots.id.tolist()) if name in kept])
    if not len(spots):
        return None
    rows = np.flatnonzero(known != "")
    told = sightings.rows.take(rows)
    return Earlier(spots=spots, sightings=told.replace(extra={**told.extra, SPOT: known[rows]}))


def find_sightless(act: Act, known: NDArray[Any]) -> Detections:
    """Return the spots that came with a list from elsewhere and that none of the ``known`` numbers' sightings show."""
    spots = read_merged_spots(act.connection, at_act=act.number)
    sightless = _list_sightless(act, spots, set(known.tolist()))
    return spots.take([row for row, name in enumerate(spots.id.tolist()) if name in sightless])


def _list_sightless(act: Act, spots: Detections, shown: set[str]) -> set[str]:
    """Return the numbers that no sighting shows and that stand all the same.

    A spot all of whose sightings were withdrawn is gone, unless it came with a list from elsewhere.
    """
    had = read_numbers_ever_seen(act.connection)
    taken_over = set(read_last_report(act.connection, TAKEN_OVER).get("numbers", ()))
    return {name for name in spots.id.tolist() if name not in shown and (name not in had or name in taken_over)}


def _join_lists(before: Detections | None, current: Detections) -> Detections:
    if before is None:
        return current
    listed = set(before.id.tolist())
    joined = Detections.join([before, current.take([row for row, n in enumerate(current.id) if n not in listed])])
    column = joined.extra.get(ALIASES)
    if column is None:
        return joined
    # A number that stands on the list again is no alias any more.
    numbers = set(joined.id.tolist())
    texts = [join_aliases(a for a in split_aliases(text or "") if a not in numbers) for text in column.tolist()]
    return joined.replace(extra={**joined.extra, ALIASES: texts})


def merge_again(
    act: Act,
    sightings: AllSightings,
    earlier: Earlier | None,
    chosen: _Chosen,
    *,
    coverage: Coverage | None = None,
    beside: Detections | None = None,
) -> MergedLedger:
    """Merge within an act, and write the list, what it is made of, and what is flagged.

    ``beside`` are spots that take no part and stay on the list as they are.
    """
    from dataclasses import replace

    from exchange.merge import merge_detections
    from exchange.merge.coverage import mark_not_seen_again
    from exchange.merge.sortie_names import name_sorties

    rows, assumed = name_sorties(sightings.rows, sortie_from=chosen.sortie_from)
    if earlier is not None and earlier.sightings is not None:
        earlier = replace(earlier, sightings=name_sorties(earlier.sightings, sortie_from=chosen.sortie_from)[0])
    last = read_counts(read_numbers(act.connection), chosen.options.series).max(initial=0)
    merged = merge_detections(rows, onto=earlier, options=replace(chosen.options, after_count=int(last)))
    spots = merged.spots if coverage is None else mark_not_seen_again(merged.spots, merged.sightings, coverage)
    if beside is not None and len(beside):
        spots = Detections.join([spots, beside])
    settled = settle(act, merged=spots)
    assert settled is not None  # noqa: S101  # a list was given
    allot_numbers(act, spots.id.tolist())
    moved = _write_members(act, sightings.fids, merged)
    replace_findings(act, MERGE, _find_flagged(spots))
    act.report[MERGE_OPTIONS] = chosen.to_report()
    act.report["list"] = {name: list(numbers) for name, numbers in vars(settled.change).items()}
    return MergedLedger(
        merged=merged,
        spots=settled.spots,
        change=settled.change,
        moved=moved,
        questions=settled.questions,
        problems=assumed,
    )


def _write_members(act: Act, fids: Fids, merged: Merged) -> int:
    spot = merged.sightings.extra.get(SPOT, np.full(len(merged.sightings), "", dtype=object))[: len(fids)]
    rows = np.flatnonzero(spot != "")
    return write_memberships(act, fids[rows], spot[rows].tolist())


def _find_flagged(spots: Detections) -> list[Finding]:
    column = spots.extra.get("flags")
    texts = [""] * len(spots) if column is None else [text or "" for text in column.tolist()]
    return [
        Finding(kind=MERGE, number=number, problem=Problem(message=f"{number}: {text}", severity="note"))
        for number, text in zip(spots.id.tolist(), texts, strict=True)
        if text
    ]
