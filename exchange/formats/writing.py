"""Write a packet to a file, whole or not at all, and tell what the format could not hold."""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import BinaryIO, TypeVar

from exchange.errors import ExchangeError, WriteError
from exchange.formats.choose import choose_writer
from exchange.formats.format import Format, InputFile
from exchange.formats.host import Host
from exchange.formats.options import WriteOptions
from exchange.model import Packet, Problem, gather_problems

Answer = TypeVar("Answer")

_CHECK_FOLDER = "Check the rights of its folder and the room on the disk, or choose another."


def write(
    packet: Packet,
    target: str | os.PathLike[str],
    *,
    host: Host | None = None,
    options: WriteOptions | None = None,
    format_name: str = "",
    overwrite: bool = False,
) -> tuple[Problem, ...]:
    """Write a packet to a file in the format its suffix or ``format_name`` says.

    The file appears under its name only when it is whole.

    Returns
    -------
    tuple of Problem
        What the format could not hold, counted.

    Raises
    ------
    WriteError
        When the file exists and ``overwrite`` is not set, is of a format whose files are never replaced, or cannot
        be written.
    OptionError
        When no loaded format fits the name.
    PluginError
        When a plugin's own code fails.
    """
    host = host or Host.with_installed_plugins()
    target = Path(target)
    fmt = choose_writer(host, target, format_name)
    _refuse_record(host, target)
    return write_whole(target, lambda path: _write_limited(host, fmt, packet, path, options), overwrite=overwrite)


def write_whole(target: Path, write_to: Callable[[Path], Answer], *, overwrite: bool = False) -> Answer:
    """Have a file written at a path beside the target, and move it into place when it is whole.

    Parameters
    ----------
    target
        The file's name at last; files written beside it, as a shapefile has, go with it.
    write_to
        Writes to a path that does not exist yet; its answer is returned.
    overwrite
        Whether an existing file may be replaced.

    Raises
    ------
    WriteError
        When the file exists and ``overwrite`` is not set, or cannot be written.
    """
    refuse_existing(target, overwrite=overwrite)
    folder = _make_folder_beside(target)
    try:
        answer = write_to(folder / target.name)
        _move_into_place(folder, target)
    finally:
        shutil.rmtree(folder, ignore_errors=True)
    return answer


def write_stream(
    packet: Packet,
    stream: BinaryIO,
    *,
    host: Host,
    format_name: str,
    options: WriteOptions | None = None,
) -> tuple[Problem, ...]:
    """Write a packet to a stream of bytes once it is whole; raises as ``write`` does."""
    fmt = choose_writer(host, Path("output"), format_name)
    with tempfile.TemporaryDirectory(prefix="exchange-") as folder:
        whole = Path(folder) / f"output{fmt.suffixes[0]}"
        problems = _write_limited(host, fmt, packet, whole, options)
        if len(list(whole.parent.iterdir())) != 1:
            raise WriteError(f"format {fmt.name!r} is made of several files and cannot be streamed")
        with whole.open("rb") as written:
            shutil.copyfileobj(written, stream)
    return problems


def refuse_existing(target: Path, *, overwrite: bool) -> None:
    """Refuse to replace what is there unless told to.

    Raises
    ------
    WriteError
        When the target exists and ``overwrite`` is not set, is a folder, or is a database in use.
    """
    if target.is_dir():
        raise WriteError("is a folder, not a file", path=target)
    if target.exists() and not overwrite:
        raise WriteError("exists already", path=target, remedy="Use --overwrite to replace it, or another name.")
    journals = [target.with_name(target.name + suffix) for suffix in ("-wal", "-journal")]
    if any(journal.exists() for journal in journals):
        # SQLite would apply the old journal to the new file and destroy it.
        raise WriteError("is in use by a database", path=target, remedy="Close the program that has it open.")


def _refuse_record(host: Host, target: Path) -> None:
    """Refuse to write onto a file of a format whose files are never replaced, such as an incident's only record."""
    records = [fmt for fmt in host.formats.values() if fmt.is_never_replaced]
    if not records or not target.is_file():
        return
    file = InputFile(target, str(target))
    try:
        head = file.read_head()
    except OSError as error:
        raise WriteError(f"cannot be looked at: {error.strerror}", path=target, remedy=_CHECK_FOLDER) from error
    for fmt in records:
        if fmt.recognise_file(file, head):
            raise WriteError(f"is a {fmt.name}, which is never replaced", path=target, remedy="Choose another name.")


def _make_folder_beside(target: Path) -> Path:
    # Beside the target, so that the last step is a rename within one file system.
    try:
        return Path(tempfile.mkdtemp(prefix=f".{target.name[:40]}.", suffix=".unfinished", dir=target.parent))
    except OSError as error:
        remedy = "Make its folder first, or choose another." if not target.parent.exists() else _CHECK_FOLDER
        raise WriteError(f"cannot be written: {error.strerror}", path=target, remedy=remedy) from error


def _write_limited(
    host: Host, fmt: Format, packet: Packet, path: Path, options: WriteOptions | None
) -> tuple[Problem, ...]:
    limited, losses = fmt.holds.limit(packet)
    try:
        further = fmt.write(limited, path, options or WriteOptions())
    except ExchangeError:
        raise
    except OSError as error:
        raise WriteError(f"cannot be written: {error.strerror or error}", path=path.name) from error
    except Exception as error:
        raise host.guard(fmt, error) from error
    return gather_problems((*losses, *further))


def _move_into_place(folder: Path, target: Path) -> None:
    written = sorted(folder.iterdir(), key=lambda path: path.name == target.name)
    try:
        for path in written:
            with path.open("rb") as finished:
                os.fsync(finished.fileno())
            path.replace(target.parent / path.name)
    except OSError as error:
        raise WriteError(f"cannot be written: {error.strerror or error}", path=target) from error
