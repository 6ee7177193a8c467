"""Bring a ledger of an earlier schema forward, with a copy of it kept.

A step brings one version to the next. It changes tables only; views, triggers, indexes, the GeoPackage's own tables
and the seals are made anew after the last one, once the seals of the old state have been found whole.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Mapping
from pathlib import Path
from sqlite3 import Connection

from exchange.errors import DamagedLedgerError, LedgerError
from exchange.ledger import geopackage
from exchange.ledger.act import Act, finish_act
from exchange.ledger.copy import renew_copy
from exchange.ledger.database import OnWait, begin_writing, opened, read_schema_version, restore_remedy
from exchange.ledger.schema import SCHEMA_VERSION, TABLES, statements
from exchange.ledger.seal import chain, find_broken_acts, last_fid, read_seals, seal_again

Step = Callable[[Connection], None]

STEPS: dict[int, Step] = {}
"""The step that brings each version to the next. There is one version so far."""


def migrate_ledger(
    path: Path, *, command: str = "", steps: Mapping[int, Step] | None = None, on_wait: OnWait | None = None
) -> Path | None:
    """Bring a ledger to the program's schema in one act; return the copy kept, ``None`` if there was nothing to do.

    Parameters
    ----------
    path
        The ledger.
    command
        The command line, for the log.
    steps
        By version; by default ``STEPS``.
    on_wait
        Called once when another program is writing.

    Raises
    ------
    LedgerError
        When it is newer than the program, or of a version from which no step leads on.
    DamagedLedgerError
        When its seals are broken: a damaged ledger is not carried forward.
    """
    steps = STEPS if steps is None else steps
    with opened(path) as connection:
        begin_writing(connection, on_wait)
        version = read_schema_version(connection, path)
        if version == SCHEMA_VERSION:
            return None
        _refuse(connection, path, version, steps)
        kept = _keep(path, version)
        _bring_forward(connection, path, version, steps, command)
        renew_copy(connection, path)
    return kept


def rebuild_table(connection: Connection, name: str, values: Mapping[str, str]) -> None:
    """Make a table as the schema has it now, and fill it from the one there was.

    Parameters
    ----------
    connection
        Of the migration.
    name
        The table.
    values
        For each column that there was not, or is filled otherwise, the SQL that gives its value from the old columns.
    """
    old = f"{name}_before"
    connection.execute(f"ALTER TABLE {name} RENAME TO {old}")
    connection.execute(TABLES[name].create())
    columns = [row[1] for row in connection.execute(f"PRAGMA table_info({name})")]
    into = ", ".join(f'"{column}"' for column in columns)
    taken = ", ".join(values.get(column, f'"{column}"') for column in columns)
    connection.execute(f"INSERT INTO {name} ({into}) SELECT {taken} FROM {old} ORDER BY fid")
    connection.execute(f"DROP TABLE {old}")


def _refuse(connection: Connection, path: Path, version: int, steps: Mapping[int, Step]) -> None:
    missing = [number for number in range(version, SCHEMA_VERSION) if number not in steps]
    if version > SCHEMA_VERSION or missing:
        what = "a newer program" if version > SCHEMA_VERSION else "a program too old"
        raise LedgerError(
            f"was written by {what} (schema {version}, this one writes {SCHEMA_VERSION})",
            path=path,
            remedy="Bring it forward with the program that knows both versions; this one leaves it as it is.",
        )
    broken = find_broken_acts(connection)
    if broken:
        raise DamagedLedgerError(f"act {broken[0]} is not as it was logged", path=path, remedy=restore_remedy(path))


def _keep(path: Path, version: int) -> Path:
    kept = path.with_name(f"{path.stem}.schema-{version}{path.suffix}")
    if kept.exists():
        raise LedgerError("stands in the way of the copy to keep", path=kept, remedy="Move it elsewhere first.")
    try:
        # Whoever holds the right to write keeps the file as it is, so that its bytes are a whole ledger.
        with sqlite3.connect(f"file:{path}?mode=ro", uri=True) as source, sqlite3.connect(kept) as target:
            source.backup(target)
    except (OSError, sqlite3.Error) as error:
        raise LedgerError(f"the copy cannot be kept: {error}", path=kept, remedy="Make room and try again.") from error
    return kept


def _bring_forward(connection: Connection, path: Path, version: int, steps: Mapping[int, Step], command: str) -> None:
    before = {name: last_fid(connection, name) for name in TABLES}
    _drop(connection)
    for number in range(version, SCHEMA_VERSION):
        steps[number](connection)
    _make_anew(connection)
    connection.execute("UPDATE exchange_ledger SET schema_version = ?", (SCHEMA_VERSION,))
    act = Act(connection, path, last_fid(connection, "act") + 1, {"from_schema": version, "to_schema": SCHEMA_VERSION})
    finish_act(act, "migrate", command, before)


def _drop(connection: Connection) -> None:
    connection.execute("PRAGMA legacy_alter_table = ON")
    for kind in ("view", "trigger", "index"):
        query = "SELECT name FROM sqlite_master WHERE type = ? AND sql IS NOT NULL"
        for (name,) in connection.execute(query, (kind,)).fetchall():
            connection.execute(f"DROP {kind} {name}")
    for table in ("gpkg_geometry_columns", "gpkg_contents", "gpkg_spatial_ref_sys"):
        connection.execute(f"DROP TABLE {table}")


def _make_anew(connection: Connection) -> None:
    _seal_anew(connection)
    there = {name for (name,) in connection.execute("SELECT name FROM sqlite_master")}
    for statement in (*geopackage.STATEMENTS, *statements()):
        name = statement.split()[2]
        if name not in there:
            connection.execute(statement)
    time = connection.execute("SELECT max(time) FROM act").fetchone()[0]
    geopackage.fill(connection, time)


def _seal_anew(connection: Connection) -> None:
    """Seal every act again: the rows say the same in the form of the new schema."""
    before = b""
    acts = connection.execute("SELECT fid, time, kind, command, program, report FROM act ORDER BY fid").fetchall()
    for words in acts:
        seals = [
            again for seal in read_seals(connection, words[0]) if (again := seal_again(connection, seal, words[0]))
        ]
        connection.executemany(
            "UPDATE seal SET rows = ?, digest = ? WHERE act = ? AND name = ? AND part = ?",
            [(seal.rows, seal.digest, words[0], seal.name, seal.part) for seal in seals],
        )
        before = chain(before, words, seals)
        connection.execute("UPDATE act SET seal = ? WHERE fid = ?", (before, words[0]))
