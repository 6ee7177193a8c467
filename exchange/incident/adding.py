"""Take files into the ledger, each known by its content."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import asdict, dataclass, fields
from itertools import chain
from pathlib import Path
from typing import Any

from exchange.errors import LedgerError
from exchange.formats.format import InputFile
from exchange.formats.host import Host
from exchange.formats.options import ReadOptions
from exchange.formats.properties import flatten_perimeter
from exchange.formats.reading import choose_format, read_packets
from exchange.incident.settling import settle
from exchange.ledger.act import Act, begin_act
from exchange.ledger.cells import write_json
from exchange.ledger.contents import SourceWriter
from exchange.ledger.database import OnWait
from exchange.ledger.findings import Finding, open_findings
from exchange.ledger.geometry_blob import write_shape
from exchange.ledger.history import read_incident
from exchange.ledger.sources import digest_file, find_same_content, write_source
from exchange.model import Packet, Perimeter, Problem, gather_problems

ADD = "add"

Passing = Callable[[Iterable[Packet], str], Iterator[Packet]]
"""Passes the batches of a file on, such as to show progress."""


@dataclass(frozen=True, kw_only=True)
class Added:
    """What became of one file.

    Attributes
    ----------
    name
        As the user gave it.
    source
        Its number in the ledger: its own, or that of the file with the same content that was there before.
    is_new
        Whether it was added now.
    counts
        How many of each thing it brought.
    problems
        What could not be taken, was changed or was assumed.
    """

    name: str
    source: int
    is_new: bool
    counts: dict[str, int]
    problems: tuple[Problem, ...] = ()


def add_files(
    path: Path,
    files: Sequence[InputFile],
    *,
    host: Host,
    options: ReadOptions | None = None,
    format_name: str = "",
    command: str = "",
    on_wait: OnWait | None = None,
    passing: Passing | None = None,
) -> list[Added]:
    """Add files in one act; a file whose content is in force already changes nothing.

    Parameters
    ----------
    path
        The ledger.
    files
        What to add.
    host
        The loaded plugins.
    options, format_name
        As of reading any file.
    command
        The command line, for the log.
    on_wait
        Called once when another program is writing.
    passing
        Passes the batches on, such as to show progress.

    Raises
    ------
    LedgerError
        When the ledger cannot be written, or a file is the ledger itself.
    ReadError
        When a file cannot be read.
    AmbiguityError
        When a file leaves something open without which nothing in it can be used.
    """
    options = options or ReadOptions()
    prepared = [prepare(path, file, host=host, format_name=format_name) for file in files]
    with begin_act(path, ADD, command=command, on_wait=on_wait) as act:
        added = [_add(act, file, host, options, passing) for file in prepared]
        act.is_needless = not any(one.is_new for one in added)
        act.report["sources"] = [report_added(one) for one in added if one.is_new]
        if any(one.counts.get("notes") for one in added if one.is_new):
            settle(act)
    return added


@dataclass(frozen=True)
class PreparedFile:
    """A file before the act: what must be found out while the ledger is not open in this process."""

    file: InputFile
    reader: str
    sha256: str
    size_bytes: int


def prepare(path: Path, file: InputFile, *, host: Host, format_name: str) -> PreparedFile:
    """Find out a file's format and digest.

    Raises
    ------
    LedgerError
        When the file is the ledger, or its copy, itself.
    ReadError
        When it cannot be read or is of no known format.
    """
    if file.path.exists() and path.exists() and file.path.samefile(path):
        raise LedgerError("the ledger cannot be added to itself", path=file.name, remedy="Name another file.")
    reader = choose_format(file, host=host, format_name=format_name).name
    sha256, size_bytes = digest_file(file.path, file.name)
    return PreparedFile(file, reader, sha256, size_bytes)


def _add(act: Act, prepared: PreparedFile, host: Host, options: ReadOptions, passing: Passing | None) -> Added:
    name = prepared.file.name
    known = find_same_content(act.connection, prepared.sha256)
    if known is not None:
        problem = Problem(message=f"is in the ledger already, as source {known.fid} ({known.name})", severity="note",
                          path=name)  # fmt: skip
        return Added(name=name, source=known.fid, is_new=False, counts={}, problems=(problem,))
    read = read_packets(prepared.file, host=host, options=options, format_name=prepared.reader)
    batches = passing(read, name) if passing else read
    first = next(batches, Packet())
    source = enter_source(act, prepared, options, incident=first.incident)
    writer = SourceWriter(act.connection, source)
    counts: dict[str, int] = {}
    other_fire = compare_incident(act, name, first.incident)
    problems: tuple[Problem, ...] = ()
    for packet in chain([first], batches):
        writer.write(packet)
        problems = gather_problems((*problems, *packet.problems))
        counts = {kind: counts.get(kind, 0) + count for kind, count in packet.counts().items()}
    counts["tracks"] = writer.finish()
    # Remarks on how it was read stand in the act's report; what a person must look at stays open until settled.
    asked = (*other_fire, *(problem for problem in problems if problem.needs_person))
    open_findings(act, [Finding(kind=ADD, problem=problem, source=source) for problem in asked])
    return Added(name=name, source=source, is_new=True, counts=counts, problems=(*other_fire, *problems))


def enter_source(act: Act, prepared: PreparedFile, options: ReadOptions, *, incident: str) -> int:
    """Enter a file with how it is read; return its number."""
    return write_source(
        act,
        name=prepared.file.name,
        sha256=prepared.sha256,
        size_bytes=prepared.size_bytes,
        reader=prepared.reader,
        options=_list_options(options),
        mapping=write_json(asdict(options.columns)) if options.columns else "",
        incident=incident,
    )


def compare_incident(act: Act, name: str, incident: str) -> tuple[Problem, ...]:
    """Return the remark that a file names another fire than the ledger, or nothing."""
    ours = read_incident(act.connection)
    if not incident or incident == ours:
        return ()
    message = f"names the fire {incident!r}, and the ledger is of {ours!r}"
    return (Problem(message=message, severity="note", path=name, remedy="Withdraw it if it belongs elsewhere."),)


def report_added(added: Added) -> dict[str, Any]:
    """Return what became of a file as plain values with stable names."""
    return {
        "file": added.name,
        "source": added.source,
        "is_new": added.is_new,
        "counts": {kind: count for kind, count in added.counts.items() if count},
        "problems": [problem.as_dict() for problem in added.problems],
    }


def _list_options(options: ReadOptions) -> dict[str, Any]:
    """Return the options that were given, as plain values."""
    plain = ReadOptions()
    given = {f.name: getattr(options, f.name) for f in fields(options) if f.name not in ("columns", "batch_rows")}
    return {
        name: list(value) if isinstance(value, tuple) else dict(value) if name == "units" else value
        for name, value in given.items()
        if value != getattr(plain, name)
    }


def add_perimeters(path: Path, perimeters: Sequence[Perimeter], *, name: str, command: str = "") -> Added:
    """Add perimeters that a command of this program has made; the same ones again change nothing.

    Raises
    ------
    LedgerError
        When the ledger cannot be written.
    """
    made = b"".join(write_shape(p.geometry) + write_json(flatten_perimeter(p)).encode() for p in perimeters)
    with begin_act(path, "perimeter", command=command) as act:
        sha256 = hashlib.sha256(made).hexdigest()
        known = find_same_content(act.connection, sha256)
        if known is not None:
            act.is_needless = True
            return Added(name=name, source=known.fid, is_new=False, counts={})
        source = write_source(act, name=name, sha256=sha256, size_bytes=len(made), reader="")
        writer = SourceWriter(act.connection, source)
        writer.write(Packet(perimeters=tuple(perimeters)))
        added = Added(name=name, source=source, is_new=True, counts={"perimeters": len(perimeters)})
        act.report["sources"] = [report_added(added)]
    return added
