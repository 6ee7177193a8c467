"""The whole copy beside a ledger: renewed after every act, so that the last good state can be taken back."""

from __future__ import annotations

import os
import sqlite3
from contextlib import suppress
from pathlib import Path
from sqlite3 import Connection

from exchange.errors import LedgerError
from exchange.ledger.database import copy_path


def renew_copy(connection: Connection, path: Path) -> bool:
    """Put a copy of the ledger beside it, whole or not at all; ``connection`` is outside of any transaction.

    Returns
    -------
    bool
        False where it could not be: another act has begun, and will renew it, or there is no room. The act is kept
        all the same.
    """
    unfinished = _unfinished(path)
    try:
        # Only who may write renews the copy, so that an older state never replaces a newer one.
        connection.execute("PRAGMA busy_timeout = 0")
        connection.execute("BEGIN IMMEDIATE")
        _copy(connection, unfinished)
        unfinished.replace(copy_path(path))
        connection.execute("ROLLBACK")
    except (sqlite3.Error, OSError):
        with suppress(OSError):
            unfinished.unlink()
        return False
    return True


def restore_copy(path: Path) -> Path:
    """Put the copy kept beside a ledger in its place; what stood there is kept under the name returned.

    Raises
    ------
    LedgerError
        When there is no copy, or the files cannot be moved.
    """
    copy, kept = copy_path(path), _free_name(path)
    if not copy.is_file():
        raise LedgerError("no copy lies beside it", path=path, remedy="Look for one elsewhere, or start anew.")
    journal = path.with_name(f"{path.name}-journal")
    try:
        # The journal belongs to the damaged file: applied to the copy, it would damage that one too.
        if journal.exists():
            journal.rename(kept.with_name(f"{kept.name}-journal"))
        if path.exists():
            path.rename(kept)
        unfinished = _unfinished(path)
        unfinished.write_bytes(copy.read_bytes())
        _flush(unfinished)
        unfinished.rename(path)
    except OSError as error:
        raise LedgerError(f"cannot be restored: {error.strerror or error}", path=path) from error
    return kept


def _copy(connection: Connection, target: Path) -> None:
    target.unlink(missing_ok=True)
    # A second connection of the same library: SQLite keeps its locks apart from those of the first.
    source = sqlite3.connect(connection.execute("PRAGMA database_list").fetchone()[2], isolation_level=None)
    written = sqlite3.connect(target, isolation_level=None)
    try:
        written.execute("PRAGMA synchronous = OFF")
        source.backup(written)
    finally:
        written.close()
        source.close()
    _flush(target)


def _flush(path: Path) -> None:
    with path.open("rb") as written:
        os.fsync(written.fileno())


def _unfinished(path: Path) -> Path:
    return path.with_name(f".{path.name}.copy.unfinished")


def _free_name(path: Path) -> Path:
    names = (path.with_name(f"{path.stem}.damaged{'' if n == 1 else f'-{n}'}{path.suffix}") for n in range(1, 1000))
    return next(name for name in names if not name.exists())
