"""KMZ archives: opened only after their sizes and names have been checked, written with the icons inside."""

from __future__ import annotations

import stat
import zipfile
from collections.abc import Iterator
from pathlib import Path, PurePosixPath
from typing import BinaryIO

from exchange.errors import MalformedError, NotThisFormatError, UnsafeInputError
from exchange.formats.format import InputFile
from exchange.formats.options import ReadOptions, WriteOptions
from exchange.model import Packet, Problem
from exchange_kml.icons import status_icons

MAIN = "doc.kml"
MOST_FILES = 10_000
MOST_BYTES = 4 << 30
MOST_ATTACHED_BYTES = 256 << 20
MOST_RATIO = 200
_RATIO_COUNTS_FROM = 32 << 20
"""Below this size no ratio is suspicious: an empty picture packs a thousand times."""

_EPOCH = (1980, 1, 1, 0, 0, 0)
_REMEDY = "Do not unpack it elsewhere; ask the sender why it is so."


def read_archive(file: InputFile, options: ReadOptions) -> Iterator[Packet]:
    """Read the main document of an archive, then the files beside it.

    Raises
    ------
    NotThisFormatError
        When it is no archive, or holds no KML.
    MalformedError
        When it is damaged, cut short or encrypted.
    UnsafeInputError
        When it holds names that lead out of it, links, or far more than its size lets expect.
    """
    from exchange_kml.reading import read_document

    with _open(file) as archive:
        members = check_members(archive.infolist())
        main = choose_main(members)
        try:
            yield from read_document(lambda: _open_member(archive, main), file.name, options)
            yield read_attachments(archive, members, main)
        except (zipfile.BadZipFile, EOFError, OSError) as error:
            raise MalformedError(f"the archive is damaged: {error}", remedy="Ask its sender for it again.") from error


def _open(file: InputFile) -> zipfile.ZipFile:
    try:
        return zipfile.ZipFile(file.path)
    except zipfile.BadZipFile as error:
        raise MalformedError(
            f"it is no whole archive: {error}", remedy="It may be cut short: ask its sender for it again."
        ) from error


def _open_member(archive: zipfile.ZipFile, member: zipfile.ZipInfo) -> BinaryIO:
    try:
        stream = archive.open(member)
    except (NotImplementedError, RuntimeError) as error:
        raise MalformedError(
            f"{member.filename!r} in the archive cannot be unpacked: {error}", remedy="Ask for it packed as usual."
        ) from error
    return stream  # type: ignore[return-value]  # reads bytes


def check_members(members: list[zipfile.ZipInfo]) -> list[zipfile.ZipInfo]:
    """Return the files of an archive once every one of them is safe to unpack.

    Source: OWASP ASVS 5.0, 5.2.3, 5.2.5 and 5.3.3.

    Raises
    ------
    UnsafeInputError
        When a name leads out of the archive, a member is a link, or there is too much in it.
    MalformedError
        When a member is encrypted.
    """
    if len(members) > MOST_FILES:
        raise UnsafeInputError(f"the archive holds {len(members)} files, more than {MOST_FILES}", remedy=_REMEDY)
    files = [member for member in members if not member.is_dir()]
    for member in members:
        _check_name(member.orig_filename)
        if stat.S_ISLNK(member.external_attr >> 16):
            raise UnsafeInputError(f"the archive holds a link, {member.filename!r}", remedy=_REMEDY)
        if member.flag_bits & 1:
            raise MalformedError(f"{member.filename!r} in the archive is encrypted", remedy="Ask for it unencrypted.")
    unpacked, packed = sum(m.file_size for m in files), sum(m.compress_size for m in files)
    if unpacked > MOST_BYTES or (unpacked > _RATIO_COUNTS_FROM and unpacked > MOST_RATIO * max(packed, 1)):
        raise UnsafeInputError(
            f"the archive would unpack from {packed} to {unpacked} bytes, which no honest file does", remedy=_REMEDY
        )
    return files


def _check_name(name: str) -> None:
    parts = name.replace("\\", "/").split("/")
    is_absolute = name.startswith(("/", "\\")) or (len(name) > 1 and name[1] == ":" and name[0].isalpha())
    if is_absolute or ".." in parts or "\0" in name:
        raise UnsafeInputError(f"the archive holds the name {name!r}, which leads out of it", remedy=_REMEDY)


def choose_main(files: list[zipfile.ZipInfo]) -> zipfile.ZipInfo:
    """Return the main document: ``doc.kml``, else the first KML file that is in no folder, else the first at all.

    Raises
    ------
    NotThisFormatError
        When there is none.
    """
    documents = [member for member in files if member.filename.lower().endswith(".kml")]
    at_root = [member for member in documents if "/" not in member.filename]
    named = [member for member in at_root if member.filename.lower() == MAIN]
    for choice in (named, at_root, documents):
        if choice:
            return choice[0]
    raise NotThisFormatError("the archive holds no KML file", remedy="State the format with --from NAME.")


def read_attachments(archive: zipfile.ZipFile, files: list[zipfile.ZipInfo], main: zipfile.ZipInfo) -> Packet:
    """Return the files beside the main document; the house's own icons are no attachments."""
    own = status_icons()
    attachments: dict[str, bytes] = {}
    problems = []
    size = 0
    for member in files:
        if member is main or member.filename in attachments:
            continue
        size += member.file_size
        if size > MOST_ATTACHED_BYTES:
            problems.append(
                Problem(message="the files beside the document are too large to carry along", value=member.filename)
            )
            continue
        with _open_member(archive, member) as stream:
            data = stream.read()
        if own.get(member.filename) != data:
            attachments[member.filename] = data
    others = [name for name in attachments if name.lower().endswith(".kml")]
    if others:
        message = "the archive holds further KML files, which are carried along unread"
        remedy = "Unpack them and give each as a file of its own."
        problems.append(Problem(message=message, severity="note", value=others[0], count=len(others), remedy=remedy))
    return Packet(attachments=attachments, problems=tuple(problems))


def write_archive(packet: Packet, target: Path, options: WriteOptions) -> list[Problem]:
    """Write a packet as an archive: the document first, then icons and attachments.

    Raises
    ------
    OSError
        When the file cannot be written.
    """
    from exchange_kml.writing import write_document

    kept, problems = _choose_attachments(packet)
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED, compresslevel=6) as archive:
        with archive.open(_member(MAIN), "w", force_zip64=True) as stream:
            problems += write_document(packet, stream, options, has_icons=True)  # type: ignore[arg-type]  # takes bytes
        for name, data in (status_icons() | kept).items():
            archive.writestr(_member(name), data)
    return problems


def _member(name: str) -> zipfile.ZipInfo:
    # One time for all, so that the same packet gives the same bytes.
    member = zipfile.ZipInfo(name, _EPOCH)
    member.compress_type = zipfile.ZIP_DEFLATED
    member.external_attr = 0o644 << 16
    return member


def _choose_attachments(packet: Packet) -> tuple[dict[str, bytes], list[Problem]]:
    """Return the attachments whose names can stand in an archive, and tell of the others."""
    kept: dict[str, bytes] = {}
    problems = []
    for name, data in packet.attachments.items():
        try:
            _check_name(name)
            is_usable = str(PurePosixPath(name)) == name and "\\" not in name and name.lower() != MAIN
        except UnsafeInputError:
            is_usable = False
        if is_usable and len(name.encode(errors="replace")) < 65_000:
            kept[name] = data
        else:
            problems.append(Problem(message="an attached file's name cannot stand in the archive", value=name))
    return kept, problems
