"""The seals: each act carries a digest of every row it wrote and closed, chained to the act before.

A byte that changes later, in whatever table, breaks the seal of the act that wrote it.
"""

from __future__ import annotations

from collections.abc import Iterator
from hashlib import blake2b
from sqlite3 import Connection
from typing import NamedTuple

import orjson

from exchange.ledger.schema import TABLES, SqlTable

DIGEST_BYTES = 16
_BLOCK_ROWS = 4096

OPENED, CLOSED = "opened", "closed"


class Seal(NamedTuple):
    """The digest of what one act opened or closed in one table; ``first_fid`` and ``last_fid`` bound the opened."""

    name: str
    part: str
    first_fid: int
    last_fid: int
    rows: int
    digest: bytes


def last_fid(connection: Connection, table: str) -> int:
    """Return the highest ``fid`` of a table, 0 where it is empty."""
    return int(connection.execute(f"SELECT max(fid) FROM {table}").fetchone()[0] or 0)  # own names


def seal_opened(connection: Connection, table: SqlTable, first_fid: int, last_fid: int) -> Seal:
    """Return the seal of the rows that an act opened; to be closed later does not break it."""
    names = _column_names(connection, table)
    query = f"SELECT {names} FROM {table.name} WHERE fid BETWEEN ? AND ? ORDER BY fid"  # own names
    rows, digest = _digest(connection, query, (first_fid, last_fid))
    return Seal(table.name, OPENED, first_fid, last_fid, rows, digest)


def seal_closed(connection: Connection, table: SqlTable, act: int) -> Seal:
    """Return the seal of which rows an act closed."""
    query = f"SELECT fid FROM {table.name} WHERE to_act = ? ORDER BY fid"  # own names
    rows, digest = _digest(connection, query, (act,))
    return Seal(table.name, CLOSED, 0, 0, rows, digest)


def seal_act(connection: Connection, act: int, last_fids: dict[str, int]) -> list[Seal]:
    """Return the seals of everything an act has written; ``last_fids`` are those before it began."""
    seals = []
    for name, table in TABLES.items():
        last = last_fid(connection, name)
        if last > last_fids[name]:
            seals.append(seal_opened(connection, table, last_fids[name] + 1, last))
        if table.is_versioned and (closed := seal_closed(connection, table, act)).rows:
            seals.append(closed)
    return seals


def chain(before: bytes, act: tuple[object, ...], seals: list[Seal]) -> bytes:
    """Return the seal of an act: of the seal before it, its own words and the digests of its rows."""
    told = orjson.dumps([before, act, [tuple(seal) for seal in seals]], default=bytes.hex)
    return blake2b(told, digest_size=DIGEST_BYTES).digest()


def _column_names(connection: Connection, table: SqlTable) -> str:
    columns = (row[1] for row in connection.execute(f"PRAGMA table_info({table.name})"))
    return ", ".join(f'"{name}"' for name in columns if name != "to_act")


def _digest(connection: Connection, query: str, values: tuple[int, ...]) -> tuple[int, bytes]:
    digest, count = blake2b(digest_size=DIGEST_BYTES), 0
    for rows in _blocks(connection, query, values):
        digest.update(orjson.dumps(rows, default=bytes.hex))
        count += len(rows)
    return count, digest.digest()


def _blocks(connection: Connection, query: str, values: tuple[int, ...]) -> Iterator[list[tuple[object, ...]]]:
    cursor = connection.execute(query, values)
    while rows := cursor.fetchmany(_BLOCK_ROWS):
        yield rows


def read_seals(connection: Connection, act: int) -> list[Seal]:
    """Return the seals that an act left."""
    query = "SELECT name, part, first_fid, last_fid, rows, digest FROM seal WHERE act = ? ORDER BY fid"
    return [Seal(*row) for row in connection.execute(query, (act,))]


def find_broken_acts(connection: Connection) -> list[int]:
    """Return the acts that are not as they were logged, or whose rows are not what they wrote."""
    broken, before = [], b""
    acts = connection.execute("SELECT fid, time, kind, command, program, report, seal FROM act ORDER BY fid").fetchall()
    for *words, seal in acts:
        kept = read_seals(connection, words[0])
        is_whole = chain(before, tuple(words), kept) == seal
        if not is_whole or any(seal_again(connection, one, words[0]) != one for one in kept):
            broken.append(words[0])
        before = seal
    return broken


def seal_again(connection: Connection, seal: Seal, act: int) -> Seal | None:
    """Return what a seal would be now; ``None`` where it names no table of the ledger."""
    table = TABLES.get(seal.name)
    if table is None:
        return None
    if seal.part == OPENED:
        return seal_opened(connection, table, seal.first_fid, seal.last_fid)
    return seal_closed(connection, table, act)
