"""Files that GDAL must not be given, or would read wrongly without a word.

A file that this process has open in SQLite must not be opened by GDAL, whose own SQLite does not see the locks.

Closing a file drops every POSIX lock the process has on it (POSIX, ``fcntl``), those of the other library too, and
the next writer destroys the file.
"""

from __future__ import annotations

import os
from pathlib import Path

from exchange.errors import MalformedError, NotThisFormatError, ReadError
from exchange.formats.format import InputFile

_DESCRIPTORS = Path("/dev/fd")


def is_open_here(path: Path) -> bool:
    """Tell whether this process has a file open; false where the system does not list open files."""
    if not _DESCRIPTORS.is_dir():
        return False
    wanted = path.stat()
    return any(_is_same(descriptor, wanted) for descriptor in _DESCRIPTORS.iterdir())


def _is_same(descriptor: Path, wanted: os.stat_result) -> bool:
    try:
        found = os.fstat(int(descriptor.name))
    except (OSError, ValueError):
        return False
    return (found.st_dev, found.st_ino) == (wanted.st_dev, wanted.st_ino)


def refuse_open_database(file: InputFile) -> None:
    """Refuse a GeoPackage that this process has open.

    Raises
    ------
    ReadError
        When it has.
    """
    if is_open_here(file.path):
        raise ReadError(
            "is open in this process; a second library would break its locks and destroy it",
            path=file.name,
            remedy="Close it first, or read it in a process of its own.",
        )


def refuse_ledger(file: InputFile) -> None:
    """Refuse a ledger, which another part of this process may open in SQLite later.

    Raises
    ------
    NotThisFormatError
        When it is one.
    """
    from exchange.ledger.database import is_ledger

    if is_ledger(file.path):
        raise NotThisFormatError("is a ledger", path=file.name, remedy="Read it as one: --from ledger.")


def refuse_cut_header(file: InputFile) -> None:
    """Refuse a FlatGeobuf shorter than its own header, which the library reads as empty.

    The magic takes 8 bytes, the length of the header the next 4, little-endian (FlatGeobuf specification, layout).

    Raises
    ------
    MalformedError
        When it is.
    """
    head = file.read_head()
    length = int.from_bytes(head[8:12], "little")
    if not length or file.path.stat().st_size < 12 + length:
        raise MalformedError(
            "is shorter than its own header", path=file.name, remedy="It was cut short on its way; ask for it again."
        )


def refuse_cut_shapefile(path: Path, name: str) -> None:
    """Refuse a shapefile shorter than the length it states, whose last rows the library reads as without geometry.

    The length stands in bytes 24 to 27, big-endian, in 16-bit words (shapefile technical description of 1998).

    Raises
    ------
    MalformedError
        When it is.
    """
    with path.open("rb") as stream:
        head = stream.read(28)
    if len(head) < 28 or path.stat().st_size < 2 * int.from_bytes(head[24:28], "big"):
        raise MalformedError(
            f"{path.name} is shorter than it says",
            path=name,
            remedy="It was cut short on its way; ask for it again.",
        )
