"""Put what came back from the field into the ledger, and settle the status of every spot."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from exchange.errors import LedgerError
from exchange.formats.format import InputFile
from exchange.formats.host import Host
from exchange.formats.options import ReadOptions
from exchange.formats.reading import read_packets
from exchange.incident.adding import Added, Passing, PreparedFile, compare_incident, enter_source, prepare, report_added
from exchange.incident.settling import SETTLE_OPTIONS, SettledList, read_reports, settle, to_findings
from exchange.ledger.act import Act, begin_act
from exchange.ledger.contents import SourceWriter
from exchange.ledger.database import OnWait
from exchange.ledger.findings import open_findings
from exchange.ledger.handouts import read_manifests
from exchange.ledger.sources import find_same_content
from exchange.ledger.spots import read_spots
from exchange.model import Detections, Packet, Problem, StatusNotes
from exchange.model.manifest import Manifest

if TYPE_CHECKING:
    from exchange.status import Placed, PlaceOptions, Questions, SettleOptions, StatusWords

RECONCILE = "reconcile"
_ROW = "exchange row"


@dataclass(frozen=True, kw_only=True)
class Reconciled:
    """What came of returned files.

    Attributes
    ----------
    added
        What became of each file.
    placed
        Where the reports of each new file were put.
    spots
        The list with its current status.
    questions
        What a person must look at: of these returns, and of the status of all spots.
    """

    added: tuple[Added, ...]
    placed: tuple[Placed, ...]
    spots: Detections
    questions: Questions


@dataclass(frozen=True, kw_only=True)
class ReturnOptions:
    """How returns are read: words, reach, span, and manifests that the ledger does not have."""

    words: StatusWords | None = None
    place: PlaceOptions | None = None
    settle: SettleOptions | None = None
    manifests: Manifest | None = None


def reconcile_files(
    path: Path,
    files: Sequence[InputFile],
    *,
    host: Host,
    options: ReadOptions | None = None,
    format_name: str = "",
    returns: ReturnOptions | None = None,
    command: str = "",
    on_wait: OnWait | None = None,
    passing: Passing | None = None,
) -> Reconciled:
    """Put returned files into the ledger in one act; a file, or a report, that is there already changes nothing.

    Parameters
    ----------
    path
        The ledger.
    files
        What came back.
    host
        The loaded plugins.
    options, format_name
        As of reading any file.
    returns
        How the returns are to be understood.
    command
        The command line, for the log.
    on_wait
        Called once when another program is writing.
    passing
        Passes the batches on, such as to show progress.

    Raises
    ------
    LedgerError
        When the ledger has no numbered list yet, or cannot be written.
    ReadError
        When a file cannot be read.
    """
    options, returns = options or ReadOptions(), returns or ReturnOptions()
    prepared = [prepare(path, file, host=host, format_name=format_name) for file in files]
    with begin_act(path, RECONCILE, command=command, on_wait=on_wait) as act:
        desk = _Desk(act, host, options, returns, passing)
        added = [desk.take(file) for file in prepared]
        act.is_needless = not any(one.is_new for one in added)
        act.report["sources"] = [report_added(one) for one in added if one.is_new]
        settled = _settle(act, returns)
    questions = desk.gather(settled)
    return Reconciled(added=tuple(added), placed=tuple(desk.placed), spots=settled.spots, questions=questions)


def _settle(act: Act, returns: ReturnOptions) -> SettledList:
    if returns.settle is not None:
        act.report[SETTLE_OPTIONS] = {"same_time_minutes": returns.settle.same_time_minutes}
    settled = settle(act, options=returns.settle)
    assert settled is not None  # noqa: S101  # the desk saw to it that there is a list
    return settled


class _Desk:
    """Where returned files are read against the list, one by one."""

    def __init__(
        self, act: Act, host: Host, options: ReadOptions, returns: ReturnOptions, passing: Passing | None
    ) -> None:
        self.act, self.host, self.options, self.returns, self.passing = act, host, options, returns, passing
        self.spots = read_spots(act.connection, at_act=act.number)
        if not len(self.spots):
            raise LedgerError("has no numbered list yet", path=act.path, remedy="Merge first: exchange merge --ledger.")
        manifests = read_manifests(act.connection, at_act=act.number)
        manifests += [] if returns.manifests is None else [returns.manifests]
        self.manifest = Manifest.join(manifests) if manifests else None
        self.known, _ = read_reports(act)
        self.placed: list[Placed] = []

    def take(self, prepared: PreparedFile) -> Added:
        """Put one file into the ledger, unless it is there."""
        name = prepared.file.name
        known = find_same_content(self.act.connection, prepared.sha256)
        if known is not None:
            problem = Problem(message=f"is in the ledger already, as source {known.fid} ({known.name})",
                              severity="note", path=name)  # fmt: skip
            return Added(name=name, source=known.fid, is_new=False, counts={}, problems=(problem,))
        return self._enter(prepared, self._read(prepared))

    def _read(self, prepared: PreparedFile) -> Packet:
        read: Iterable[Packet] = read_packets(
            prepared.file, host=self.host, options=self.options, format_name=prepared.reader
        )
        return Packet.join(self.passing(read, prepared.file.name) if self.passing else read)

    def _enter(self, prepared: PreparedFile, packet: Packet) -> Added:
        from exchange.status import place_returns

        placed = place_returns(
            packet, self.spots, manifests=self.manifest, words=self.returns.words, options=self.returns.place
        )
        source = enter_source(self.act, prepared, self.options, incident=packet.incident)
        news = keep_news(self.known, placed.notes)
        self.known = StatusNotes.join([part for part in (self.known, news) if len(part)])
        kept = Packet(notes=news, tracks=packet.tracks, perimeters=packet.perimeters)
        writer = SourceWriter(self.act.connection, source)
        writer.write(kept)
        writer.finish()
        name = prepared.file.name
        problems = (*packet.problems, *compare_incident(self.act, name, packet.incident))
        open_findings(self.act, to_findings(RECONCILE, placed.questions(), source=source))
        self.placed.append(placed)
        return Added(name=name, source=source, is_new=True, counts=kept.counts(), problems=problems)

    def gather(self, settled: SettledList) -> Questions:
        """Return what a person must look at, of these returns and of all spots."""
        from exchange.status import Questions

        return Questions.gather([*(placed.questions() for placed in self.placed), settled.questions])


def keep_news(known: StatusNotes, new: StatusNotes) -> StatusNotes:
    """Return the reports that are not known already: a file sent again with more in it brings only that."""
    from exchange.status import add_notes

    numbered: Any = new.replace(extra={**new.extra, _ROW: list(range(len(new)))})
    column = add_notes(known, numbered).extra.get(_ROW)
    rows = [] if column is None else [int(row) for row in column.tolist() if row is not None and row == row]
    return new.take(rows)
