"""Opening a ledger: how SQLite is set, and its failures in words.

The journal is SQLite's rollback journal, not a write-ahead log: the ledger stays one file that may be carried away
between acts, is read from a folder that cannot be written, and lies on a share without harm. ``synchronous=EXTRA``
survives a power cut, the folder's entry included.
"""

from __future__ import annotations

import sqlite3
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from urllib.parse import quote

from exchange.errors import BusyLedgerError, DamagedLedgerError, LedgerError
from exchange.ledger.geopackage import APPLICATION_ID
from exchange.ledger.schema import SCHEMA_VERSION

WAIT_SECONDS = 30.0
"""How long to wait for another writer, and a reader for the moment in which one writes."""

_FIRST_WAIT_SECONDS = 0.3
_HEADER = b"SQLite format 3\x00"
_START = "Start one with: exchange ledger start FILE"

OnWait = Callable[[], None]


def is_ledger(path: Path) -> bool:
    """Tell whether a file is a ledger: a GeoPackage with the table ``exchange_ledger``.

    Never call it on a file that this process has open: closing it here would drop the locks (POSIX, ``fcntl``).
    """
    try:
        with path.open("rb") as stream:
            head = stream.read(72)
    except OSError:
        return False
    if not head.startswith(_HEADER) or int.from_bytes(head[68:72], "big") != APPLICATION_ID:
        return False
    try:
        connection = _connect(path)
    except sqlite3.Error:
        return False
    try:
        found = connection.execute("SELECT 1 FROM sqlite_master WHERE name = 'exchange_ledger'").fetchone()
    except (sqlite3.Error, UnicodeDecodeError):
        return False
    finally:
        connection.close()
    return found is not None


@contextmanager
def open_to_read(path: Path) -> Iterator[sqlite3.Connection]:
    """Open a ledger for reading; everything read within is of one moment.

    Raises
    ------
    LedgerError
        When it is not there, is no ledger, cannot be opened, or is newer or older than the program.
    DamagedLedgerError
        When SQLite finds it broken.
    BusyLedgerError
        When another program keeps writing to it.
    """
    with opened(path) as connection:
        # Opened for writing where that is allowed, because only then an act that was cut off can be undone.
        connection.execute("PRAGMA query_only = ON")
        connection.execute("BEGIN")
        refuse_other_schema(connection, path)
        yield connection


@contextmanager
def open_to_write(path: Path, *, on_wait: OnWait | None = None) -> Iterator[sqlite3.Connection]:
    """Open a ledger and take the one right to write; what is written within is kept only by a ``COMMIT``.

    Parameters
    ----------
    path
        The ledger.
    on_wait
        Called once when another program is writing and this one has to wait.

    Raises
    ------
    LedgerError
        As ``open_to_read``, and when the file, the folder or the disk cannot be written.
    """
    with opened(path) as connection:
        connection.execute("PRAGMA foreign_keys = ON")
        begin_writing(connection, on_wait)
        refuse_other_schema(connection, path)
        yield connection


def refuse_other_schema(connection: sqlite3.Connection, path: Path) -> None:
    """Refuse what is no ledger, and a ledger of another schema version than the program's.

    Raises
    ------
    LedgerError
        When it is.
    """
    version = read_schema_version(connection, path)
    if version > SCHEMA_VERSION:
        raise LedgerError(
            f"was written by a newer program (schema {version}, this one knows {SCHEMA_VERSION})",
            path=path,
            remedy="Install the newer program; this one leaves the file as it is.",
        )
    if version < SCHEMA_VERSION:
        raise LedgerError(
            f"was written by an older program (schema {version}, this one writes {SCHEMA_VERSION})",
            path=path,
            remedy=f"Bring it forward, with a copy kept, by: exchange ledger migrate {path}",
        )


def read_schema_version(connection: sqlite3.Connection, path: Path) -> int:
    """Return the schema version of a ledger.

    Raises
    ------
    LedgerError
        When the file is no ledger.
    """
    is_there = connection.execute("SELECT 1 FROM sqlite_master WHERE name = 'exchange_ledger'").fetchone()
    row = connection.execute("SELECT schema_version FROM exchange_ledger").fetchone() if is_there else None
    if row is None:
        raise LedgerError("is no ledger", path=path, remedy=_START)
    return int(row[0])


def _connect(path: Path) -> sqlite3.Connection:
    address = f"file:{quote(str(path.absolute()))}?mode=rw"
    connection = sqlite3.connect(address, uri=True, timeout=WAIT_SECONDS, isolation_level=None)
    # What a damaged or hostile file may make SQLite do is kept small (sqlite.org, "Defense Against The Dark Arts").
    connection.execute("PRAGMA trusted_schema = OFF")
    connection.execute("PRAGMA cell_size_check = ON")
    return connection


@contextmanager
def opened(path: Path) -> Iterator[sqlite3.Connection]:
    """Open a ledger of whatever schema, SQLite's failures told in words.

    Raises
    ------
    LedgerError
        As ``open_to_read``.
    """
    if path.is_dir():
        raise LedgerError("is a folder, not a ledger", path=path, remedy="Name the file in it.")
    if not path.is_file():
        raise LedgerError("there is no such ledger", path=path, remedy=_START)
    with told(path):
        connection = _connect(path)
        try:
            yield connection
        finally:
            connection.close()


def begin_writing(connection: sqlite3.Connection, on_wait: OnWait | None) -> None:
    """Take the one right to write, and wait for it where another program has it.

    Raises
    ------
    sqlite3.OperationalError
        When it was not to be had in ``WAIT_SECONDS``.
    """
    connection.execute("PRAGMA synchronous = EXTRA")
    # Readers are shut out only while a spilled page or the commit is written; so nothing spills before it.
    connection.execute("PRAGMA cache_spill = OFF")
    deadline = time.monotonic() + WAIT_SECONDS
    connection.execute(f"PRAGMA busy_timeout = {int(_FIRST_WAIT_SECONDS * 1000)}")
    while True:
        try:
            connection.execute("BEGIN IMMEDIATE")
            break
        except sqlite3.OperationalError as error:
            if not _is_busy(error) or time.monotonic() > deadline:
                raise
        if on_wait is not None:
            on_wait()
            on_wait = None
    connection.execute(f"PRAGMA busy_timeout = {int(WAIT_SECONDS * 1000)}")


@contextmanager
def told(path: Path) -> Iterator[None]:
    """Turn SQLite's failures into those of the ledger, with the remedy."""
    try:
        yield
    except sqlite3.Error as error:
        raise _in_words(error, path) from error
    except UnicodeDecodeError as error:
        # SQLite's own message quotes a changed byte.
        raise DamagedLedgerError("holds text that is none", path=path, remedy=restore_remedy(path)) from error


def copy_path(path: Path) -> Path:
    """Return where the whole copy of a ledger lies, which every act renews."""
    return path.with_name(f"{path.stem}.copy{path.suffix}")


def restore_remedy(path: Path) -> str:
    """Return what to do about a ledger that cannot be trusted."""
    if not copy_path(path).exists():
        return "No copy lies beside it: start a new ledger and add the source files again."
    return f"Go back to the copy kept beside it, {copy_path(path).name}, with: exchange ledger restore {path}"


def _is_busy(error: sqlite3.Error) -> bool:
    return _code(error) in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED)


def _code(error: sqlite3.Error) -> int:
    # The low byte is the primary code (sqlite.org/rescode.html).
    return (getattr(error, "sqlite_errorcode", None) or 0) & 0xFF


def _in_words(error: sqlite3.Error, path: Path) -> LedgerError:
    code = _code(error)
    if _is_busy(error):
        return BusyLedgerError(
            "another program is writing to it", path=path, remedy="Nothing was changed; try again when it is done."
        )
    if code in (sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_PERM, sqlite3.SQLITE_AUTH):
        return LedgerError(
            f"cannot be written or opened: {error}",
            path=path,
            remedy="The file and its folder must allow writing; nothing was changed.",
        )
    if code in (sqlite3.SQLITE_FULL, sqlite3.SQLITE_IOERR):
        return LedgerError(
            f"the disk is full or failed: {error}", path=path, remedy="Nothing was changed; make room and try again."
        )
    # With a copy beside it, a file that does not begin as a database is a ledger that lost its beginning.
    if code == sqlite3.SQLITE_NOTADB and not _begins_as_database(path) and not copy_path(path).exists():
        return LedgerError("is no ledger, nor any SQLite database", path=path, remedy=_START)
    # A text that is no text has no code: only a changed byte makes one.
    is_no_text = not code and isinstance(error, sqlite3.OperationalError)
    if code in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB) or is_no_text:
        return DamagedLedgerError(f"is damaged: {error}", path=path, remedy=restore_remedy(path))
    return LedgerError(f"the ledger refused it: {error}", path=path, remedy="Nothing was changed.")


def _begins_as_database(path: Path) -> bool:
    """Tell whether the first bytes of a file are those of every SQLite database."""
    # SQLite has refused the file, so that closing it here drops no lock that matters.
    with path.open("rb") as stream:
        return stream.read(len(_HEADER)) == _HEADER
