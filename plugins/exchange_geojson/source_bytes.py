"""The file as UTF-8 bytes, whatever encoding it came in, behind a window that moves forward only."""

from __future__ import annotations

import codecs
from types import TracebackType
from typing import BinaryIO, Self

from exchange.errors import MalformedError, OptionError
from exchange.formats.format import InputFile
from exchange.model import Problem

BLOCK_BYTES = 1 << 21

_MARKS = (
    (codecs.BOM_UTF8, "utf-8"),
    (codecs.BOM_UTF32_LE, "utf-32-le"),
    (codecs.BOM_UTF32_BE, "utf-32-be"),
    (codecs.BOM_UTF16_LE, "utf-16-le"),
    (codecs.BOM_UTF16_BE, "utf-16-be"),
)


class Window:
    """A piece of the file that holds the bytes not yet used; used bytes are let go.

    Attributes
    ----------
    data
        The bytes at hand, UTF-8.
    position
        How many of them are used.
    is_last
        Whether the file holds nothing beyond ``data``.
    encoding
        As stated by an option, or empty.
    problems
        What was found out about the encoding.
    """

    def __init__(self, file: InputFile, *, encoding: str = "") -> None:
        self.data = b""
        self.position = 0
        self.is_last = False
        self.encoding = encoding
        self.problems: list[Problem] = []
        self._stream: BinaryIO = file.open()
        self._decoder: codecs.IncrementalDecoder | None = None
        self._find_encoding(encoding)

    def __enter__(self) -> Self:
        """Return the window; the file is closed at the end of the block."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Close the file."""
        self._stream.close()

    def fill(self, size: int = BLOCK_BYTES) -> None:
        """Have at least ``size`` unused bytes at hand, or all that are left; the used ones are let go."""
        unused = self.data[self.position :]
        pieces, have = [unused], len(unused)
        while have < size and not self.is_last:
            piece = self._read(max(size - have, 1 << 16))
            pieces.append(piece)
            have += len(piece)
        self.data, self.position = b"".join(pieces), 0

    def unused(self) -> int:
        """Return how many bytes at hand are not used yet."""
        return len(self.data) - self.position

    def skip_blank(self) -> bytes:
        """Use up white space and return the byte after it, unused; empty at the end of the file."""
        while True:
            while self.position < len(self.data):
                byte = self.data[self.position : self.position + 1]
                if byte not in (b" ", b"\n", b"\r", b"\t"):
                    return byte
                self.position += 1
            if self.is_last:
                return b""
            self.fill()

    def _read(self, size: int) -> bytes:
        raw = self._stream.read(size)
        self.is_last = not raw
        if self._decoder is None:
            return raw
        try:
            return self._decoder.decode(raw, final=not raw).encode()
        except UnicodeError as error:
            raise MalformedError(
                f"the text is not in the encoding it should be in ({error})",
                remedy="State it with --encoding, or save the file as UTF-8.",
            ) from error

    def _find_encoding(self, stated: str) -> None:
        head = self._stream.read(4)
        mark, found = next(((m, name) for m, name in _MARKS if head.startswith(m)), (b"", ""))
        self._stream.seek(len(mark))
        name = found or stated or "utf-8"
        if found:
            self.problems.append(Problem(message=f"the file begins with a byte-order mark ({found})", severity="note"))
        try:
            normal = codecs.lookup(name).name
        except LookupError as error:
            raise OptionError(f"no encoding is called {name!r}", field="--encoding") from error
        if normal not in ("utf-8", "ascii"):
            self._decoder = codecs.getincrementaldecoder(name)()
            self.problems.append(Problem(message=f"read as {normal}; the standard asks for UTF-8", severity="note"))
