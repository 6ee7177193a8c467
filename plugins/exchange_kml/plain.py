"""Blocks of bytes without comments, CDATA sections and processing instructions, so that the scanner can read them.

The text of a CDATA section keeps its marks as pairs of characters that begin with DELETE until it is in columns.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from exchange.formats.text_columns import TextCells
from exchange.formats.xml.simplify import has_asides

# DELETE is a character of XML that hardly any text holds; blocks that do are left alone.
_STANDS_FOR = {b"<": "\x7fl", b">": "\x7fg", b"&": "\x7fa"}
_BYTES = {mark: character.encode() for mark, character in _STANDS_FOR.items()}
_ENTITIES = {b"<": b"&lt;", b">": b"&gt;", b"&": b"&amp;"}
_DELETE = b"\x7f"

# XML 1.0, productions 15 (no "--" inside a comment), 18 to 21, and 16 (a target that is not "xml").
_ASIDE = rb"<!--(?:[^-]|-(?!-))*-->|<!\[CDATA\[(?s:.*?)\]\]>|<\?(?!xml[\s?])[A-Za-z_][\w.-]*(?:\s(?s:.*?))?\?>"
_ONE = re.compile(_ASIDE)
_OPEN = re.compile(rb"<[!?]")


@dataclass(frozen=True)
class Plain:
    """A block made plain.

    Attributes
    ----------
    data
        Its bytes.
    has_marks
        Whether pairs of characters stand for marks of CDATA sections.
    """

    data: bytes
    has_marks: bool = False


def make_plain(data: bytes) -> Plain | None:
    """Return a block without comments, CDATA sections and instructions; ``None`` where that cannot be done safely.

    The block begins outside of all of them, and ends behind a tag.
    """
    if b"\r" in data:
        # XML 1.0, 2.11: the parser would do the same before all else.
        data = data.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    if not has_asides(data):
        return Plain(data)
    if _DELETE in data:
        return None
    plain = _replace_each_kind(data) or _replace_one_by_one(data)
    if plain is None or has_asides(plain):
        return None
    return Plain(plain, b"<![CDATA[" in data)


def _replace_each_kind(data: bytes) -> bytes | None:
    """Take out comments, then sections, many at once; ``None`` where one kind may stand within the other."""
    if (b"?" in data and b"<?" in data) or b"\0" in data:
        return None
    without = _drop_comments(data) if b"<!--" in data else data
    return without if without is None or b"<![CDATA[" not in without else _mark_sections(without)


def _drop_comments(data: bytes) -> bytes | None:
    first, *others = data.split(b"<!--")
    pieces = [first]
    for other in others:
        comment, mark, rest = other.partition(b"-->")
        if not mark or b"--" in comment or comment.endswith(b"-") or b"<![" in comment or not _ends_in_text(pieces[-1]):
            return None
        if pieces[-1].rfind(b"<![CDATA[") > pieces[-1].rfind(b"]]>"):
            return None
        pieces.append(rest)
    return b"".join(pieces)


def _mark_sections(data: bytes) -> bytes | None:
    first, *others = data.split(b"<![CDATA[")
    parted = [other.partition(b"]]>") for other in others]
    rests = [first, *(rest for _, _, rest in parted)]
    if not all(mark for _, mark, _ in parted) or not all(map(_ends_in_text, rests[:-1])):
        return None
    # No text of XML holds NUL: the sections go through all replacements together.
    marked = _mark(b"\0".join(text for text, _, _ in parted)).split(b"\0")
    pieces = [b""] * (2 * len(rests) - 1)
    pieces[0::2], pieces[1::2] = rests, marked
    return b"".join(pieces)


def _replace_one_by_one(data: bytes) -> bytes | None:
    pieces: list[bytes] = []
    position = 0
    for match in _ONE.finditer(data):
        before = data[position : match.start()]
        if not _ends_in_text(before):
            return None
        aside = match[0]
        pieces += [before, _mark(aside[9:-3]) if aside.startswith(b"<![CDATA[") else b""]
        position = match.end()
    return b"".join([*pieces, data[position:]])


def _ends_in_text(before: bytes) -> bool:
    """Tell whether bytes end outside of a tag: within one no comment and no section is lawful."""
    return before.rfind(b">") >= before.rfind(b"<")


def _mark(text: bytes) -> bytes:
    for mark, character in _BYTES.items():
        text = text.replace(mark, character)
    return text


def as_entities(data: bytes) -> bytes:
    """Return plain bytes as XML again, the marks of CDATA sections as entities."""
    for mark, character in _BYTES.items():
        data = data.replace(character, _ENTITIES[mark])
    return data


def restore_marks(cells: TextCells) -> TextCells:
    """Return texts in which the marks of CDATA sections are themselves again."""
    import pyarrow.compute as pc

    data = cells.buffers()[2]
    if data is None or _DELETE not in memoryview(data).tobytes():
        return cells
    for mark, character in _STANDS_FOR.items():
        cells = pc.replace_substring(cells, character, mark.decode())
    return cells


def find_end(data: bytes, closing: bytes) -> int:
    """Return the offset behind the last ``closing`` tag that stands outside of comments and the like; 0 for none."""
    end = data.rfind(closing) + len(closing) if closing in data else 0
    while end:
        inside = find_aside_around(data, end)
        if inside is None:
            return end
        end = data.rfind(closing, 0, inside) + len(closing) if closing in data[:inside] else 0
    return 0


def find_last_tag(data: bytes) -> int:
    """Return the offset behind the last ``>`` that stands outside of comments and the like; 0 for none."""
    end = data.rfind(b">") + 1
    while end:
        inside = find_aside_around(data, end)
        if inside is None:
            return end
        end = data.rfind(b">", 0, inside) + 1
    return 0


def find_aside_around(data: bytes, offset: int) -> int | None:
    """Return where the comment, CDATA section or instruction begins that an offset stands in, or ``None``."""
    position = 0
    if not _may_be_inside(data, offset):
        return None
    while (opened := _OPEN.search(data, position, offset)) is not None:
        begin = opened.start()
        closing = _find_closing(data[begin : begin + 3])
        end = data.find(closing, begin + 2)
        if end < 0 or end + len(closing) > offset:
            return begin
        position = end + len(closing)
    return None


def _may_be_inside(data: bytes, offset: int) -> bool:
    """Tell whether some kind has its last opening before the offset, and no closing behind that."""
    for sign, opening, closing in ((b"!", b"<!--", b"-->"), (b"!", b"<![", b"]]>"), (b"?", b"<?", b"?>")):
        begin = data.rfind(opening, 0, offset) if sign in data else -1
        if begin >= 0 and data.find(closing, begin, offset) < 0:
            return True
    return False


def _find_closing(opening: bytes) -> bytes:
    if opening.startswith(b"<?"):
        return b"?>"
    return {b"<!-": b"-->", b"<![": b"]]>"}.get(opening, b">")
