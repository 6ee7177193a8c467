"""Write a hand-out into a folder: its files through the house's writers, the manifest, and the index."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING

from exchange.errors import WriteError
from exchange.formats.choose import find_format
from exchange.formats.manifest_file import MANIFEST_NAME, read_manifest, write_manifest
from exchange.formats.options import WriteOptions
from exchange.formats.writing import refuse_existing, write, write_whole
from exchange.handout.hand_out import INDEX_NAME, Handout
from exchange.handout.index import write_index
from exchange.model import Problem, gather_problems

if TYPE_CHECKING:
    from collections.abc import Iterable

    from exchange.formats.format import Format
    from exchange.formats.host import Host
    from exchange.handout.profile import Profile


def find_formats(profiles: Iterable[Profile], host: Host) -> dict[str, Format]:
    """Return the formats that the profiles name.

    Raises
    ------
    OptionError
        When no loaded format has that name.
    """
    return {profile.format: find_format(host, profile.format) for profile in profiles}


def write_handout(
    handout: Handout, folder: str | os.PathLike[str], *, host: Host, overwrite: bool = False
) -> tuple[Problem, ...]:
    """Write a hand-out into a folder, which is made where it does not exist.

    Each file appears when it is whole, the manifest before the files that need it.

    Returns
    -------
    tuple of Problem
        What a format could not hold, and files of an earlier hand-out that are still there.

    Raises
    ------
    WriteError
        When a file exists and ``overwrite`` is not set, or cannot be written.
    OptionError
        When no loaded format fits a profile.
    PluginError
        When a plugin's own code fails.
    """
    folder = Path(folder)
    targets = [folder / name for name in (MANIFEST_NAME, INDEX_NAME, *(file.name for file in handout.files))]
    make_folder(folder)
    for target in targets:
        refuse_existing(target, overwrite=overwrite)
    stale = _find_stale(folder, {target.name for target in targets})
    write_manifest(handout.manifest, folder / MANIFEST_NAME, overwrite=overwrite)
    problems = list(stale)
    for file in handout.files:
        options = WriteOptions(
            title=handout.title,
            version=file.profile.format_version,
            with_extensions=file.profile.keeps_extensions,
        )
        problems += write(
            file.packet,
            folder / file.name,
            host=host,
            options=options,
            format_name=file.profile.format,
            overwrite=overwrite,
        )
    text = write_index(handout)
    write_whole(folder / INDEX_NAME, lambda path: path.write_text(text, encoding="utf-8"), overwrite=overwrite)
    return gather_problems(problems)


def make_folder(folder: Path) -> None:
    """Make a folder where it does not exist.

    Raises
    ------
    WriteError
        When it cannot be made.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise WriteError(f"is no folder to write into: {error.strerror or error}", path=folder) from error


def _find_stale(folder: Path, written: set[str]) -> list[Problem]:
    """Tell the files that the manifest in the folder names and that will not be written again."""
    if not (folder / MANIFEST_NAME).exists():
        return []
    named = {name for name in read_manifest(folder / MANIFEST_NAME).file.tolist() if name} - written
    left = sorted(name for name in named if (folder / name).exists())
    message = "is of the hand-out before and still in the folder"
    return [Problem(message=message, severity="changed", path=name, remedy="Take it out.") for name in left]
