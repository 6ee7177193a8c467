"""What a command refuses to write onto, before it reads anything."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from exchange.errors import OptionError, WriteError


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


def refuse_inputs(outputs: Iterable[str | None], inputs: Iterable[str | None]) -> None:
    """Refuse to write onto a file that is read, whatever else is allowed: a log that is gone cannot be flown again.

    Parameters
    ----------
    outputs, inputs
        Names of files; ``None``, empty and ``-`` are none.

    Raises
    ------
    OptionError
        When a name of an output leads to the file of an input.
    """
    read = {Path(name).resolve() for name in inputs if name and name != "-"}
    for name in outputs:
        if name and name != "-" and Path(name).resolve() in read:
            raise OptionError(f"{name!r} is read and would be replaced", remedy="Give the output another name.")
