"""What a command refuses to write, before it reads anything."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from exchange.errors import OptionError, WriteError


def check_outputs(
    output: str,
    *beside: str | None,
    inputs: Iterable[str | None],
    target_format: str,
    overwrite: bool,
    as_json: bool,
) -> None:
    """Refuse what cannot be written, or would replace what is read.

    Parameters
    ----------
    output
        Where the data goes; ``-`` is standard output.
    beside
        Names of further files that are written.
    inputs
        Names of the files that are read.
    target_format, overwrite, as_json
        What the options of the same names say.

    Raises
    ------
    OptionError
        When standard output is asked for too much, an output is an input, or two outputs are one file.
    WriteError
        When a file is there already and ``overwrite`` is not set.
    """
    if output == "-":
        check_stdout(target_format, as_json=as_json)
    named = [name for name in (output, *beside) if name and name != "-"]
    refuse_inputs(named, inputs)
    if len({Path(name).resolve() for name in named}) < len(named):
        raise OptionError("one file is named for two outputs", remedy="Give each output a name of its own.")
    for name in named:
        refuse_existing(Path(name), overwrite=overwrite)


def check_stdout(target_format: str, *, as_json: bool) -> None:
    """Refuse data on standard output beside the report, or without a format."""
    if as_json:
        raise OptionError("standard output cannot carry both the data and the report", field="--json")
    if not target_format:
        raise OptionError("standard output has no name to tell its format", remedy="Say it with --to FORMAT.")


def check_picture(picture: str | None) -> None:
    """Refuse a picture that is no PNG file by its name."""
    if picture and not picture.lower().endswith(".png"):
        raise OptionError(f"{picture!r} is no name of a PNG picture", field="--picture", remedy="Let it end in .png.")


def refuse_existing(target: Path, *, overwrite: bool) -> None:
    """Refuse to replace what is there unless told to, and a ledger in any case: it is the incident's only record.

    Raises
    ------
    WriteError
        When the target exists and ``overwrite`` is not set, is a folder, a ledger, or a database in use, or when its
        folder is missing.
    """
    from exchange.formats.writing import refuse_existing as refuse_file

    if overwrite and target.is_file():
        from exchange.ledger.database import is_ledger

        if is_ledger(target):
            raise WriteError("is a ledger, which is never replaced", path=target, remedy="Choose another name.")
    refuse_file(target, overwrite=overwrite)
    if not target.parent.is_dir():
        remedy = "Make its folder first, or choose another."
        raise WriteError("cannot be written: there is no such folder", path=target, remedy=remedy)


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
