"""What was known when: acts by time, and which rows held after an act."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from sqlite3 import Connection
from typing import Any

from exchange.errors import LedgerError
from exchange.ledger.act import format_milliseconds
from exchange.ledger.cells import read_json


@dataclass(frozen=True, kw_only=True)
class LoggedAct:
    """One act of the log: when, what, by which command line and program, and what it reported."""

    number: int
    time: datetime
    kind: str
    command: str
    program: str
    report: dict[str, Any]


def holds_at(alias: str) -> str:
    """Return the SQL condition that a versioned row held after the act ``:act``."""
    return f"{alias}.from_act <= :act AND ({alias}.to_act IS NULL OR {alias}.to_act > :act)"


def in_force_at(alias: str) -> str:
    """Return the SQL condition that the file a row came from was in force after the act ``:act``."""
    return f"{alias}.source IN (SELECT s.fid FROM source s WHERE {holds_at('s')})"


def last_act(connection: Connection) -> int:
    """Return the number of the last act."""
    return int(connection.execute("SELECT max(fid) FROM act").fetchone()[0])


def find_act_at(connection: Connection, moment: datetime, *, path: Path) -> int:
    """Return the number of the last act done by an instant.

    Raises
    ------
    LedgerError
        When the ledger was started later.
    """
    time = format_milliseconds(moment)
    found = connection.execute("SELECT max(fid) FROM act WHERE time <= ?", (time,)).fetchone()[0]
    if found is None:
        first = connection.execute("SELECT min(time) FROM act").fetchone()[0]
        raise LedgerError(f"it was started at {first}, after {time}", path=path, remedy="Ask for a later time.")
    return int(found)


def read_acts(connection: Connection, *, at_act: int | None = None) -> list[LoggedAct]:
    """Return the log in order, up to an act."""
    rows = connection.execute(
        "SELECT fid, time, kind, command, program, report FROM act WHERE ? IS NULL OR fid <= ? ORDER BY fid",
        (at_act, at_act),
    )
    return [
        LoggedAct(
            number=row[0],
            time=datetime.fromisoformat(row[1]).astimezone(UTC),
            kind=row[2],
            command=row[3],
            program=row[4],
            report=read_json(row[5]),
        )
        for row in rows
    ]


def read_incident(connection: Connection) -> str:
    """Return the fire's name."""
    return str(connection.execute("SELECT incident FROM exchange_ledger").fetchone()[0])


def read_last_report(connection: Connection, name: str) -> dict[str, Any]:
    """Return what the last act that reported something under a name reported, or nothing."""
    rows = connection.execute("SELECT report FROM act WHERE instr(report, ?) ORDER BY fid DESC", (f'"{name}"',))
    found = (read_json(report).get(name) for (report,) in rows)
    return next((value for value in found if isinstance(value, dict)), {})
