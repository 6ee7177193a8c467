"""Find how the characters of a text file are encoded: by its mark, by proof, by evidence; else refuse."""

from __future__ import annotations

import codecs
import tempfile
from dataclasses import dataclass
from typing import IO

from exchange.errors import AmbiguityError, MalformedError, OptionError
from exchange.formats.format import InputFile

_BLOCK_BYTES = 1 << 20
_MOST_IN_MEMORY = 1 << 26
_MARKS = (
    (codecs.BOM_UTF32_LE, "utf-32-le"),
    (codecs.BOM_UTF32_BE, "utf-32-be"),
    (codecs.BOM_UTF8, "utf-8"),
    (codecs.BOM_UTF16_LE, "utf-16-le"),
    (codecs.BOM_UTF16_BE, "utf-16-be"),
)

# The letters beyond ASCII of the languages that Windows-1252 was made for. Text in one of them uses no other's,
# while the letters of other alphabets, read as Windows-1252, mix them (common practice; Unicode CLDR exemplars).
_ALPHABETS = tuple(
    frozenset(letters + letters.upper())
    for letters in (
        "áéíóúüñ",
        "áâãàçéêíóôõúü",
        "àâæçéèêëîïôœùûüÿ",
        "àèéìíòóùú",
        "äöüß",
        "éèëïóöüá",
        "åäöéü",
        "æøåéòóôäö",
        "áðéíóúýþæö",
    )
)
_SIGNS = frozenset(
    "°º·ª«»…€£¿¡²³µ§±½¼¾®©\N{NO-BREAK SPACE}\N{MULTIPLICATION SIGN}\N{EN DASH}\N{EM DASH}"
    "\N{LEFT SINGLE QUOTATION MARK}\N{RIGHT SINGLE QUOTATION MARK}"
    "\N{LEFT DOUBLE QUOTATION MARK}\N{RIGHT DOUBLE QUOTATION MARK}"
)


@dataclass(frozen=True)
class Encoding:
    """How a file's characters are encoded.

    Attributes
    ----------
    name
        Python's name of the codec.
    mark_bytes
        Length of the byte order mark before the text.
    evidence
        How it is known, in words; empty where it is UTF-8 and nothing needs to be said.
    """

    name: str
    mark_bytes: int = 0
    evidence: str = ""


def find_encoding(file: InputFile, stated: str) -> Encoding:
    """Return the encoding of a text file.

    Parameters
    ----------
    file
        The whole of it is looked at, block by block.
    stated
        What an option states, or empty.

    Raises
    ------
    OptionError
        When ``stated`` is no encoding.
    AmbiguityError
        When nothing tells which of several encodings it is.
    MalformedError
        When the file is not in the encoding stated or marked.
    """
    with file.open() as stream:
        head = stream.read(4096)
    mark, name = read_mark(head)
    if mark and not stated:
        _require_decodable(file, name, "its byte order mark says")
        shown = "it starts with a byte order mark" if name == "utf-8" else f"its byte order mark says {name}"
        return Encoding(name, len(mark), shown)
    if stated:
        return _take_stated(file, stated, head)
    wide = find_wide(head)
    if wide:
        _require_decodable(file, wide, "every other byte being zero says")
        return Encoding(wide, 0, f"every other byte is zero, so it is {wide}")
    return Encoding("utf-8") if can_decode(file, "utf-8") else _weigh_western(file)


def read_mark(head: bytes) -> tuple[bytes, str]:
    """Return the byte order mark that a file begins with and the encoding it stands for, empty where there is none."""
    return next(((mark, name) for mark, name in _MARKS if head.startswith(mark)), (b"", ""))


def _take_stated(file: InputFile, stated: str, head: bytes) -> Encoding:
    try:
        name = codecs.lookup(stated).name
    except LookupError as error:
        raise OptionError(
            f"{stated!r} is no encoding", field="--encoding", remedy="Give utf-8, utf-16, cp1252, latin-1 or another."
        ) from error
    marks = {"utf-8": (codecs.BOM_UTF8,), "utf-8-sig": (codecs.BOM_UTF8,)}
    wide = {"utf-16": "utf-16-le", "utf-16-le": "utf-16-le", "utf-16-be": "utf-16-be"}
    if name in wide:
        marked = next((m for m, n in _MARKS[3:] if head.startswith(m)), b"")
        name = "utf-16-be" if marked == codecs.BOM_UTF16_BE else wide[name]
        _require_decodable(file, name, "--encoding says")
        return Encoding(name, len(marked))
    _require_decodable(file, name, "--encoding says")
    mark = next((m for m in marks.get(name, ()) if head.startswith(m)), b"")
    return Encoding("utf-8" if name == "utf-8-sig" else name, len(mark))


def find_wide(head: bytes) -> str:
    """Return the UTF-16 that a head without a mark is in, told by its zero bytes, or the empty text."""
    low, high = head[::2], head[1::2]
    if len(high) >= 8 and high.count(0) > 0.7 * len(high) and low.count(0) < 0.1 * len(low):
        return "utf-16-le"
    if len(low) >= 8 and low.count(0) > 0.7 * len(low) and high.count(0) < 0.1 * len(high):
        return "utf-16-be"
    return ""


def can_decode(file: InputFile, name: str) -> bool:
    """Tell whether a whole file is valid in an encoding."""
    decoder = codecs.getincrementaldecoder(name)()
    try:
        with file.open() as stream:
            while block := stream.read(_BLOCK_BYTES):
                decoder.decode(block)
            decoder.decode(b"", final=True)
    except UnicodeDecodeError:
        return False
    return True


def _require_decodable(file: InputFile, name: str, who: str) -> None:
    if not can_decode(file, name):
        raise MalformedError(
            f"the text is not in {name} as {who}",
            path=file.name,
            remedy="State another with --encoding, or ask for the file again: it may have been cut or damaged.",
        )


def _weigh_western(file: InputFile) -> Encoding:
    """Return Windows-1252 where all letters beyond ASCII are of one of its languages.

    Raises
    ------
    AmbiguityError
        Where they are not.
    """
    foreign = _collect_foreign(file)
    letters = {character for character in foreign if character.isalpha() and character not in _SIGNS}
    if foreign <= letters | _SIGNS and any(letters <= alphabet for alphabet in _ALPHABETS):
        shown = "".join(sorted(foreign))[:12]
        return Encoding("cp1252", 0, f"it is no UTF-8, and its letters and signs ({shown}) are those of Windows-1252")
    raise AmbiguityError(
        "the encoding of the text cannot be told",
        path=file.name,
        remedy="State it with --encoding, such as --encoding cp1250, cp1251, cp1253, shift_jis or latin-1.",
    )


def _collect_foreign(file: InputFile) -> set[str]:
    """Return the characters beyond ASCII, read as Windows-1252; what it does not define comes as U+FFFD."""
    seen: set[str] = set()
    with file.open() as stream:
        while block := stream.read(_BLOCK_BYTES):
            beyond = bytes(set(block) - set(range(128)))
            seen |= set(beyond.decode("cp1252", errors="replace"))
    return seen


def open_text(file: InputFile, encoding: Encoding) -> IO[bytes]:
    """Open a file as a stream of UTF-8 without a mark; what is in another encoding is turned into it first.

    Raises
    ------
    OSError
        When it cannot be opened.
    """
    stream = file.open()
    stream.seek(encoding.mark_bytes)
    if encoding.name in ("utf-8", "ascii"):
        return stream
    with stream:
        return _turn(stream, codecs.getincrementaldecoder(encoding.name)())


def _turn(stream: IO[bytes], decoder: codecs.IncrementalDecoder) -> IO[bytes]:
    turned: IO[bytes] = tempfile.SpooledTemporaryFile(max_size=_MOST_IN_MEMORY)  # noqa: SIM115  # the caller closes it
    while block := stream.read(_BLOCK_BYTES):
        turned.write(decoder.decode(block).encode("utf-8"))
    turned.write(decoder.decode(b"", final=True).encode("utf-8"))
    turned.seek(0)
    return turned
