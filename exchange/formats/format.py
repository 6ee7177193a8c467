"""What a format is: its names, what it can hold, how it is recognised, read and written."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO, ClassVar, Literal

from exchange.formats.holds import Holds
from exchange.formats.options import ReadOptions, WriteOptions
from exchange.model import Packet, Problem

HEAD_BYTES = 4096


@dataclass(frozen=True)
class InputFile:
    """A file to read.

    Attributes
    ----------
    path
        Where its bytes are; standard input has been copied to a temporary file.
    name
        What messages and sources call it: as the user gave it.
    """

    path: Path
    name: str

    def open(self) -> BinaryIO:
        """Open the file for reading bytes.

        Raises
        ------
        OSError
            When it cannot be opened.
        """
        return self.path.open("rb")

    def read_head(self) -> bytes:
        """Return the first few thousand bytes.

        Raises
        ------
        OSError
            When it cannot be read.
        """
        with self.open() as stream:
            return stream.read(HEAD_BYTES)


class Format(ABC):
    """One kind of file. A plugin's hook returns instances of its own subclasses.

    Attributes
    ----------
    name
        Short and unique, as given to ``--from`` and ``--to``.
    title
        One line for people.
    suffixes
        Lower case, with the dot; the first is the usual one.
    media_type
        As registered, or empty.
    holds
        What of the model a file of this kind can hold.
    shown_column
        Which column of a spot other programs show as the point's name; where it is empty, the other of the two.
    is_never_replaced
        Whether a file of this kind is a record that no writing replaces, even where it may overwrite.
    """

    name: ClassVar[str]
    title: ClassVar[str]
    suffixes: ClassVar[tuple[str, ...]]
    media_type: ClassVar[str] = ""
    holds: ClassVar[Holds]
    shown_column: ClassVar[Literal["name", "id"]] = "name"
    can_read: ClassVar[bool] = True
    can_write: ClassVar[bool] = True
    is_never_replaced: ClassVar[bool] = False

    @abstractmethod
    def recognise(self, head: bytes) -> bool:
        """Tell whether a file that begins with ``head`` (a few thousand bytes) is of this format."""

    def recognise_file(self, file: InputFile, head: bytes) -> bool:
        """Tell whether a file is of this format; by default its first bytes settle it."""
        return self.recognise(head)

    @abstractmethod
    def read(self, file: InputFile, options: ReadOptions) -> Iterator[Packet]:
        """Read a file batch by batch.

        Raises
        ------
        ReadError
            When the file is not of this format, is malformed or unsafe.
        """

    @abstractmethod
    def write(self, packet: Packet, target: Path, options: WriteOptions) -> Sequence[Problem]:
        """Write what ``holds`` allows of a packet to a path that does not exist yet.

        ``packet`` has been limited to what ``holds`` allows, and that loss has been told; return what else
        could not be kept. The caller moves the finished file to its place, so nothing half-written is seen.

        Raises
        ------
        WriteError
            When the packet cannot be written.
        """
