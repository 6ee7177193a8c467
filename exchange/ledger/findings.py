"""What a person must look at: found by an act, open until another settles it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from sqlite3 import Connection
from typing import Any

from exchange.ledger.act import Act
from exchange.ledger.cells import read_json, write_json
from exchange.ledger.history import holds_at
from exchange.ledger.rows import close_rows, insert
from exchange.ledger.spots import read_numbers
from exchange.model import Problem


@dataclass(frozen=True, kw_only=True)
class Finding:
    """One thing to look at.

    Attributes
    ----------
    kind
        Which job found it: ``add``, ``merge``, ``reconcile``.
    problem
        What it is, in the words of the house.
    number
        The spot it concerns, or empty.
    source, note
        The ``fid`` of the file and of the note it concerns, or ``None``.
    detail
        Further plain values by name.
    """

    kind: str
    problem: Problem
    number: str = ""
    source: int | None = None
    note: int | None = None
    detail: dict[str, Any] = field(default_factory=dict)


def open_findings(act: Act, findings: Sequence[Finding]) -> None:
    """Enter what was found."""
    known = read_numbers(act.connection)
    columns: dict[str, list[Any]] = {
        "kind": [f.kind for f in findings],
        "severity": [f.problem.severity for f in findings],
        "message": [str(f.problem) for f in findings],
        "source": [f.source for f in findings],
        "number": [known.get(f.number) for f in findings],
        "note": [f.note for f in findings],
        "detail": [write_json({"problem": f.problem.as_dict(), **f.detail}) for f in findings],
        "from_act": [act.number] * len(findings),
    }
    insert(act.connection, "finding", columns, len(findings))


def replace_findings(act: Act, kind: str, findings: Sequence[Finding]) -> None:
    """Make these what is open of a kind: what was open already stays, the rest is settled."""
    query = "SELECT fid, message, number FROM finding WHERE to_act IS NULL AND kind = ?"
    current = {(message, number): fid for fid, message, number in act.connection.execute(query, (kind,))}
    known = read_numbers(act.connection)
    wanted = {(str(finding.problem), known.get(finding.number)): finding for finding in findings}
    close_rows(act.connection, "finding", [fid for key, fid in current.items() if key not in wanted], act.number)
    open_findings(act, [finding for key, finding in wanted.items() if key not in current])


def close_findings(act: Act, *, source: int) -> None:
    """Settle what is open about a file that is withdrawn."""
    query = "SELECT fid FROM finding WHERE to_act IS NULL AND source = ?"
    fids = act.connection.execute(query, (source,)).fetchall()
    close_rows(act.connection, "finding", [fid for (fid,) in fids], act.number)


def read_findings(connection: Connection, *, at_act: int) -> list[Finding]:
    """Return what was open after an act, in the order it was found."""
    query = (
        "SELECT t.kind, t.detail, n.name, t.source, t.note FROM finding t LEFT JOIN number n ON n.fid = t.number"
        f" WHERE {holds_at('t')} ORDER BY t.fid"
    )
    found = []
    for kind, text, number, source, note in connection.execute(query, {"act": at_act}):
        detail = read_json(text)
        problem = Problem(**detail.pop("problem"))
        found.append(Finding(kind=kind, problem=problem, number=number or "", source=source, note=note, detail=detail))
    return found
