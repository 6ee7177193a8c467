"""Tell where the incident stands, or stood: counts, status, sources, acts, and what a person must look at."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from sqlite3 import Connection
from typing import Any

from exchange.ledger.database import open_to_read
from exchange.ledger.findings import Finding, read_findings
from exchange.ledger.history import LoggedAct, find_act_at, last_act, read_acts, read_incident
from exchange.ledger.reading import count_in_force
from exchange.ledger.sources import LedgerSource, read_sources
from exchange.ledger.spots import count_status, read_aliases
from exchange.model.priority import STATUS_ORDER


@dataclass(frozen=True, kw_only=True)
class Shown:
    """What was known after an act.

    Attributes
    ----------
    incident
        The fire's name.
    act
        The last act that counts here.
    counts
        How many of each thing are in force.
    status
        How many spots have each status word, in the order of work.
    aliases
        Numbers that were folded into others.
    sources
        The files in force.
    acts
        The log up to then.
    findings
        What a person must look at.
    """

    incident: str
    act: LoggedAct
    counts: dict[str, int]
    status: dict[str, int]
    aliases: dict[str, str]
    sources: tuple[LedgerSource, ...]
    acts: tuple[LoggedAct, ...]
    findings: tuple[Finding, ...]


def show_ledger(path: Path, *, as_of: datetime | None = None) -> Shown:
    """Tell where an incident stands, or what was known at an instant.

    Parameters
    ----------
    path
        The ledger.
    as_of
        The instant, aware; by default now.

    Raises
    ------
    LedgerError
        When the ledger cannot be read, or was started after ``as_of``.
    """
    with open_to_read(path) as connection:
        act = last_act(connection) if as_of is None else find_act_at(connection, as_of, path=path)
        return _show(connection, act)


def _show(connection: Connection, act: int) -> Shown:
    acts = read_acts(connection, at_act=act)
    found = count_status(connection, at_act=act)
    order = [*STATUS_ORDER, *sorted(found.keys() - set(STATUS_ORDER))]
    return Shown(
        incident=read_incident(connection),
        act=acts[-1],
        counts=count_in_force(connection, at_act=act),
        status={word: found[word] for word in order if word in found},
        aliases=read_aliases(connection, at_act=act),
        sources=tuple(read_sources(connection, at_act=act)),
        acts=tuple(acts),
        findings=tuple(read_findings(connection, at_act=act)),
    )


def report_shown(shown: Shown) -> dict[str, Any]:
    """Return everything as plain values with stable names."""
    return {
        "incident": shown.incident,
        "act": shown.act.number,
        "time": _to_text(shown.act.time),
        "counts": shown.counts,
        "status": shown.status,
        "aliases": shown.aliases,
        "sources": [
            {
                "number": source.fid,
                "name": source.name,
                "sha256": source.sha256,
                "reader": source.reader,
                "options": dict(source.options),
                "added_by_act": source.from_act,
            }
            for source in shown.sources
        ],
        "acts": [
            {"number": act.number, "time": _to_text(act.time), "kind": act.kind, "command": act.command}
            for act in shown.acts
        ],
        "findings": [
            {"kind": finding.kind, "number": finding.number, **finding.problem.as_dict()} for finding in shown.findings
        ],
    }


def _to_text(time: datetime) -> str:
    from exchange.formats.values import format_instant

    return format_instant(time)
