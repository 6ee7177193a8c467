"""A file that this process has open in SQLite must not be opened by GDAL, whose own SQLite does not see the locks.

Closing a file drops every POSIX lock the process has on it (POSIX, ``fcntl``), those of the other library too, and
the next writer destroys the file.
"""

from __future__ import annotations

import os
from pathlib import Path

from exchange.errors import ReadError
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
