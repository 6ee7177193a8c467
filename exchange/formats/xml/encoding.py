"""A file's bytes as UTF-8, whatever encoding it is written in."""

from __future__ import annotations

import codecs
import re
from typing import BinaryIO, Protocol

from exchange.errors import MalformedError, OptionError

_DECLARED = re.compile(rb"""^\s*<\?xml[^>]*?\sencoding\s*=\s*["']([A-Za-z0-9._:-]+)["']""")
# XML 1.0, appendix F: what a byte order mark, or its absence in a 16-bit encoding, looks like.
_MARKS = (
    (b"\xff\xfe\x00\x00", "utf-32"),
    (b"\x00\x00\xfe\xff", "utf-32"),
    (b"\xef\xbb\xbf", "utf-8"),
    (b"\xff\xfe", "utf-16"),
    (b"\xfe\xff", "utf-16"),
    (b"<\x00", "utf-16-le"),
    (b"\x00<", "utf-16-be"),
)
_UTF8_BOM = b"\xef\xbb\xbf"


class ByteReader(Protocol):
    """Anything bytes can be read from in pieces."""

    def read(self, size: int, /) -> bytes:
        """Return up to ``size`` bytes; empty at the end."""


class Utf8Reader:
    """Read a stream as UTF-8 without a byte order mark.

    What is UTF-8 already passes through unchecked, since the parser and the scanner check it; other encodings are
    decoded piece by piece.

    Parameters
    ----------
    stream
        Open for reading bytes, at its start.
    stated
        The encoding an option states; it overrides what the file says of itself.

    Attributes
    ----------
    encoding
        Python's name of the encoding the file is read in.

    Raises
    ------
    OptionError
        When the stated encoding is unknown.
    MalformedError
        When the declared encoding is unknown, or, while reading, bytes do not fit the encoding.
    """

    def __init__(self, stream: BinaryIO, stated: str = "") -> None:
        self._stream = stream
        self._head = stream.read(4096)
        self.encoding = _find_encoding(self._head, stated)
        self._decoder = None if self.encoding == "utf-8" else codecs.getincrementaldecoder(self.encoding)()
        self._line, self._has_begun = 1, False
        if self._decoder is None and self._head.startswith(_UTF8_BOM):
            self._head = self._head[len(_UTF8_BOM) :]

    def read(self, size: int) -> bytes:
        """Return about ``size`` bytes; empty at the end."""
        raw = (
            (self._head + self._stream.read(max(size - len(self._head), 0))) if self._head else self._stream.read(size)
        )
        self._head = b""
        return raw if self._decoder is None else self._decode(self._decoder, raw)

    def _decode(self, decoder: codecs.IncrementalDecoder, raw: bytes) -> bytes:
        while True:
            try:
                decoded = decoder.decode(raw, final=not raw).encode()
            except UnicodeError as error:
                raise MalformedError(
                    f"bytes in line {self._line + _count_lines(error)} do not fit its encoding {self.encoding!r}",
                    remedy="State the right one with --encoding, or ask the sender for the file again.",
                ) from error
            if not self._has_begun:
                decoded = decoded.removeprefix(_UTF8_BOM)
            self._has_begun |= bool(decoded)
            self._line += decoded.count(b"\n")
            if decoded or not raw:
                return decoded
            raw = self._stream.read(4096)


def _count_lines(error: UnicodeError) -> int:
    return error.object[: error.start].count(b"\n") if isinstance(error, UnicodeDecodeError) else 0


def _find_encoding(head: bytes, stated: str) -> str:
    if stated:
        return _look_up(stated, OptionError, "--encoding")
    for mark, name in _MARKS:
        if head.startswith(mark):
            return name
    declared = _DECLARED.match(head)
    return _look_up(declared[1].decode("ascii"), MalformedError, "encoding") if declared else "utf-8"


def _look_up(name: str, error_type: type[OptionError] | type[MalformedError], field: str) -> str:
    try:
        codec = codecs.lookup(name)
        codecs.getincrementaldecoder(name)
    except LookupError as error:
        raise error_type(
            f"the encoding {name!r} is not known", field=field, remedy="State a known one with --encoding."
        ) from error
    if not codec._is_text_encoding:
        raise error_type(f"{name!r} is no encoding of text", field=field)
    return "utf-8" if codec.name in ("utf-8", "ascii", "utf-8-sig") else codec.name
