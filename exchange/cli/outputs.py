"""What a command refuses to write onto, before it reads anything."""

from __future__ import annotations

from pathlib import Path

from exchange.errors import WriteError


def refuse_existing(target: Path, *, overwrite: bool) -> None:
    """Refuse to replace what is there unless told to, and a ledger in any case: it is the incident's only record.

    Raises
    ------
    WriteError
        When the target exists and ``overwrite`` is not set, is a folder, a ledger, or a database in use.
    """
    from exchange.formats.writing import refuse_existing as refuse_file

    if overwrite and target.is_file():
        from exchange.ledger.database import is_ledger

        if is_ledger(target):
            raise WriteError("is a ledger, which is never replaced", path=target, remedy="Choose another name.")
    refuse_file(target, overwrite=overwrite)
