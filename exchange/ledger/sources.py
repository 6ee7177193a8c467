"""The files that came in: each known by its content, in force until an act withdraws it."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from sqlite3 import Connection
from typing import Any

from exchange.errors import LedgerError, ReadError
from exchange.ledger.act import Act
from exchange.ledger.cells import read_json, write_json
from exchange.ledger.history import holds_at
from exchange.ledger.rows import close_rows, insert


@dataclass(frozen=True, kw_only=True)
class LedgerSource:
    """One file of the ledger.

    Attributes
    ----------
    fid
        Its number in the ledger.
    name
        As the user gave it.
    sha256
        Of its bytes, hexadecimal.
    size_bytes
        Its length.
    reader
        The format it was read in.
    options
        Of reading, those that were given.
    mapping
        The text of the column mapping used, or empty.
    incident
        The fire's name that the file gives, or empty.
    from_act, to_act
        The acts that added and withdrew it; ``to_act`` is ``None`` while it is in force.
    """

    fid: int
    name: str
    sha256: str
    size_bytes: int
    reader: str
    options: Mapping[str, Any]
    mapping: str
    incident: str
    from_act: int
    to_act: int | None


def digest_file(path: Path, name: str) -> tuple[str, int]:
    """Return the SHA-256 of a file, hexadecimal, and its length in bytes.

    Raises
    ------
    ReadError
        When it cannot be read.
    """
    try:
        with path.open("rb") as stream:
            return hashlib.file_digest(stream, "sha256").hexdigest(), path.stat().st_size
    except OSError as error:
        reason = error.strerror or error
        raise ReadError(f"cannot be opened: {reason}", path=name, remedy="Check the name and the rights.") from error


def write_source(
    act: Act,
    *,
    name: str,
    sha256: str,
    size_bytes: int,
    reader: str,
    options: Mapping[str, Any] | None = None,
    mapping: str = "",
    incident: str = "",
) -> int:
    """Enter a file that is being added; return its number."""
    fields: dict[str, Any] = {
        "name": name, "sha256": sha256, "bytes": size_bytes, "reader": reader, "options": write_json(options or {}),
        "mapping": mapping or None, "incident": incident or None, "from_act": act.number,
    }  # fmt: skip
    return int(insert(act.connection, "source", {key: [value] for key, value in fields.items()}, 1)[0])


def close_source(act: Act, source: LedgerSource) -> None:
    """Withdraw a file: from this act on nothing of it is in force; nothing of it is deleted.

    Raises
    ------
    LedgerError
        When it was withdrawn before.
    """
    if source.to_act is not None:
        raise LedgerError(f"{source.name!r} was withdrawn by act {source.to_act} already", path=act.path)
    close_rows(act.connection, "source", [source.fid], act.number)


def read_sources(connection: Connection, *, at_act: int | None = None) -> list[LedgerSource]:
    """Return every file ever added, or those in force after an act, in the order they came."""
    query = (
        "SELECT fid, name, sha256, bytes, reader, options, mapping, incident, from_act, to_act FROM source t"
        f" WHERE {holds_at('t') if at_act is not None else '1'} ORDER BY fid"
    )
    values = {} if at_act is None else {"act": at_act}
    return [
        LedgerSource(
            fid=row[0], name=row[1], sha256=row[2], size_bytes=row[3], reader=row[4], options=read_json(row[5]),
            mapping=row[6] or "", incident=row[7] or "", from_act=row[8], to_act=row[9],
        )
        for row in connection.execute(query, values)
    ]  # fmt: skip


def find_same_content(connection: Connection, sha256: str) -> LedgerSource | None:
    """Return the file in force that has these bytes, or ``None``."""
    return next((s for s in read_sources(connection) if s.sha256 == sha256 and s.to_act is None), None)


def find_source(connection: Connection, wanted: str, *, path: Path) -> LedgerSource:
    """Return the file in force that a text means: its number, its name or the end of it, or how its SHA-256 begins.

    Raises
    ------
    LedgerError
        When none or several are meant.
    """
    in_force = [source for source in read_sources(connection) if source.to_act is None]
    found = [source for source in in_force if _is_meant(source, wanted)]
    if len(found) == 1:
        return found[0]
    names = ", ".join(f"{source.fid} {source.name}" for source in found or in_force) or "none"
    what = f"{wanted!r} means several sources" if found else f"no source in force is called {wanted!r}"
    raise LedgerError(what, path=path, remedy=f"Name one by its number: {names}.")


_SHORTEST_DIGEST = 8


def _is_meant(source: LedgerSource, wanted: str) -> bool:
    by_digest = len(wanted) >= _SHORTEST_DIGEST and source.sha256.startswith(wanted.lower())
    return wanted in (str(source.fid), source.name, Path(source.name).name) or by_digest
