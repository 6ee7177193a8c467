"""Files in memory become files in a folder, each whole or not at all."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path

from exchange.demo_fire.made_file import MadeFile, WrittenFile
from exchange.errors import WriteError


def write_files(folder: Path, made: Sequence[MadeFile], *, overwrite: bool) -> list[WrittenFile]:
    """Write files into a folder, each whole or not at all.

    Raises
    ------
    WriteError
        If one is there already and ``overwrite`` is false, or the folder cannot be written.
    """
    targets = [folder / file.name for file in made]
    there = [target for target in targets if target.exists()]
    if there and not overwrite:
        raise WriteError(
            "the file is there already", path=there[0], remedy="Choose another folder, or give --overwrite."
        )
    for target, file in zip(targets, made, strict=True):
        _write_whole(target, file.content)
    return [
        WrittenFile(
            path=target, about=file.about, role=file.role, sortie=file.sortie, period=file.period, options=file.options
        )
        for target, file in zip(targets, made, strict=True)
    ]


def _write_whole(target: Path, content: bytes) -> None:
    unfinished = target.with_name(f".{target.name}.unfinished")
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        unfinished.write_bytes(content)
        unfinished.replace(target)
    except OSError as error:
        with suppress(OSError):
            unfinished.unlink()
        raise WriteError(
            f"cannot be written ({error.strerror})", path=target, remedy="Choose a folder you may write to."
        ) from error
