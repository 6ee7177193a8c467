"""An act: one change of the ledger, wholly done and logged or not done at all."""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from sqlite3 import Connection
from typing import Any

import numpy as np

from exchange import __version__
from exchange.errors import LedgerError
from exchange.formats.values import format_instant
from exchange.ledger import geopackage
from exchange.ledger.cells import write_instants, write_json
from exchange.ledger.copy import renew_copy
from exchange.ledger.database import OnWait, open_to_write, told
from exchange.ledger.schema import SCHEMA_VERSION, TABLES, statements
from exchange.ledger.seal import chain, last_fid, seal_act

START = "start"


@dataclass
class Act:
    """One act while it is being done.

    Attributes
    ----------
    connection
        To write with; it holds the one right to write.
    path
        The ledger.
    number
        Of the act, counted from 1.
    report
        What to log of it, in plain values by name.
    is_needless
        Set when there turned out to be nothing to change: then nothing is kept, not even the log of it.
    """

    connection: Connection
    path: Path
    number: int
    report: dict[str, Any] = field(default_factory=dict)
    is_needless: bool = False


@contextmanager
def begin_act(
    path: Path, kind: str, *, command: str = "", now: datetime | None = None, on_wait: OnWait | None = None
) -> Iterator[Act]:
    """Do one act: what is written within is kept when the block ends, and undone when it raises or the power fails.

    Parameters
    ----------
    path
        The ledger.
    kind
        ``add``, ``merge``, ``withdraw`` and so on.
    command
        The command line, for the log.
    now
        When; by default the clock's time, and never before the act before.
    on_wait
        Called once when another program is writing and this one has to wait.

    Raises
    ------
    LedgerError
        When the ledger cannot be opened or written, or the act would break a rule of the ledger.
    BusyLedgerError
        When another program keeps writing to it.
    DamagedLedgerError
        When SQLite finds it broken.
    """
    with open_to_write(path, on_wait=on_wait) as connection:
        act = Act(connection, path, last_fid(connection, "act") + 1)
        before = {name: last_fid(connection, name) for name in TABLES}
        yield act
        if act.is_needless:
            connection.execute("ROLLBACK")
            return
        finish_act(act, kind, command, before, now=now)
        renew_copy(connection, path)


def finish_act(act: Act, kind: str, command: str, before: Mapping[str, int], *, now: datetime | None = None) -> None:
    """Log an act, seal it and commit it; ``before`` is the last ``fid`` of each table before it began."""
    _log(act, kind, command, _next_time(act.connection, now), before)
    act.connection.execute("COMMIT")


def start_ledger(path: Path, *, incident: str, command: str = "", now: datetime | None = None) -> None:
    """Make a new ledger, whole or not at all; its first act is ``start``.

    Raises
    ------
    LedgerError
        When something of that name exists, or it cannot be written.
    """
    if path.exists():
        raise LedgerError("exists already", path=path, remedy="A ledger is never replaced; choose another name.")
    unfinished = path.with_name(f".{path.name}.{os.getpid()}.unfinished")
    try:
        _make(unfinished, path, incident, command, now)
        _publish(unfinished, path)
    except FileExistsError as error:
        raise LedgerError("exists already", path=path, remedy="Another program has just started it.") from error
    except OSError as error:
        reason = error.strerror or error
        raise LedgerError(f"cannot be written: {reason}", path=path, remedy="Choose another folder.") from error
    finally:
        for left in (unfinished, unfinished.with_name(f"{unfinished.name}-journal")):
            left.unlink(missing_ok=True)


def _publish(unfinished: Path, path: Path) -> None:
    """Give the finished ledger its name, without replacing what another program has put there meanwhile."""
    try:
        os.link(unfinished, path)
    except FileExistsError:
        raise
    except OSError:
        # Memory sticks and some shares know no links; a look and a rename is the best they allow.
        if path.exists():
            raise FileExistsError(path) from None
        unfinished.rename(path)


def _make(unfinished: Path, path: Path, incident: str, command: str, now: datetime | None) -> None:
    import sqlite3

    with told(path):
        connection = sqlite3.connect(unfinished, isolation_level=None)
        try:
            connection.execute("PRAGMA synchronous = EXTRA")
            connection.execute(f"PRAGMA application_id = {geopackage.APPLICATION_ID}")
            connection.execute(f"PRAGMA user_version = {geopackage.USER_VERSION}")
            connection.execute("BEGIN IMMEDIATE")
            for statement in (*geopackage.STATEMENTS, *statements()):
                connection.execute(statement)
            time = _next_time(connection, now)
            geopackage.fill(connection, time)
            connection.execute("INSERT INTO exchange_ledger VALUES (1, ?, ?)", (SCHEMA_VERSION, incident))
            act = Act(connection, path, 1, {"incident": incident})
            _log(act, START, command, time, dict.fromkeys(TABLES, 0))
            connection.execute("COMMIT")
        finally:
            connection.close()


def _next_time(connection: Connection, now: datetime | None) -> str:
    """Return the act's time: a clock that was set back does not put an act before the one it follows."""
    time = format_milliseconds(now or datetime.now(UTC))
    last = connection.execute("SELECT max(time) FROM act").fetchone()[0]
    return time if last is None else max(time, last)


def format_milliseconds(moment: datetime) -> str:
    """Return an aware instant in UTC with milliseconds, in which order of text is order of time."""
    parsed = np.datetime64(format_instant(moment).removesuffix("Z"), "ms")
    return write_instants(np.array([parsed]))[0] or ""


def _log(act: Act, kind: str, command: str, time: str, before: Mapping[str, int]) -> None:
    connection = act.connection
    row = (act.number, time, kind, command, __version__, write_json(act.report))
    seals = seal_act(connection, act.number, dict(before))
    last = connection.execute("SELECT seal FROM act WHERE fid = ?", (act.number - 1,)).fetchone()
    connection.execute(
        "INSERT INTO act VALUES (?, ?, ?, ?, ?, ?, ?)", (*row, chain(last[0] if last else b"", row, seals))
    )
    connection.executemany(
        "INSERT INTO seal (act, name, part, first_fid, last_fid, rows, digest) VALUES (?, ?, ?, ?, ?, ?, ?)",
        [(act.number, *seal) for seal in seals],
    )
    geopackage.touch(connection, time)
