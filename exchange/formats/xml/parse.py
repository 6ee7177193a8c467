"""Elements of an XML file one by one in constant memory, from files that may be hostile.

A DOCTYPE is refused before the parser sees it, so there are no entities to expand and nothing to fetch; nesting
is limited by the parser; whatever is malformed or ends too early is an error that names the line.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, BinaryIO, Literal, cast
from xml.parsers import expat

from exchange.errors import MalformedError, UnsafeInputError
from exchange.formats.xml.encoding import Utf8Reader

if TYPE_CHECKING:
    from lxml.etree import _Element

CHUNK_BYTES = 1 << 18
Event = tuple[Literal["start", "end"], "_Element"]

_PLACE = re.compile(r",? line \d+, column \d+.*$", re.DOTALL)


def iterate_elements(stream: BinaryIO, *, tags: Sequence[str] | None = None, encoding: str = "") -> Iterator[Event]:
    """Go through a file's elements: ``("start", element)`` when one opens, ``("end", element)`` when it is whole.

    The caller takes what it needs of an element at its end and then calls ``discard``, so that memory stays
    constant. Comments and processing instructions are left out; CDATA is text.

    Parameters
    ----------
    stream
        Open for reading bytes, at its start.
    tags
        The names for which events are wanted, ``{namespace}local`` or ``{*}local``; ``None`` for all. Fewer
        events cost less time.
    encoding
        The encoding an option states; empty to go by the file.

    Raises
    ------
    UnsafeInputError
        When the file has a DOCTYPE or is nested too deeply.
    MalformedError
        When it is not well formed, ends too early, or its bytes do not fit its encoding.
    """
    reader = Utf8Reader(stream, encoding)
    parser = SafeParser(tags=tags)
    while data := reader.read(CHUNK_BYTES):
        yield from parser.feed(data)
    yield from parser.close()


class SafeParser:
    """Parse UTF-8 bytes as they are fed, giving the events of ``iterate_elements``.

    Parameters
    ----------
    tags
        As for ``iterate_elements``.
    """

    def __init__(self, *, tags: Sequence[str] | None = None) -> None:
        from lxml import etree

        self._prolog: _PrologGuard | None = _PrologGuard()
        # `huge_tree` allows a text of more than 10 MB, as a long line of coordinates is. An entity that is not
        # one of the five of XML is undeclared, hence an error: there is no DOCTYPE that could declare it.
        self._parser = etree.XMLPullParser(
            events=("start", "end"),
            tag=tags,
            huge_tree=True,
            resolve_entities="internal",  # type: ignore[arg-type]  # lxml-stubs knows the truth values only
            no_network=True,
            load_dtd=False,
            remove_comments=True,
            remove_pis=True,
            encoding="utf-8",
        )
        self._syntax_error = etree.XMLSyntaxError

    def feed(self, data: bytes) -> Iterator[Event]:
        """Take the next bytes and give the events they complete; raises as ``iterate_elements`` does."""
        if self._prolog is not None and self._prolog.is_passed_by(data):
            self._prolog = None
        try:
            self._parser.feed(data)
            yield from cast("Iterator[Event]", self._parser.read_events())
        except self._syntax_error as error:
            raise _translate(error) from error

    def close(self) -> Iterator[Event]:
        """Tell that the file is at its end and give the last events; raises as ``iterate_elements`` does."""
        try:
            self._parser.close()
            yield from cast("Iterator[Event]", self._parser.read_events())
        except self._syntax_error as error:
            raise _translate(error) from error


def discard(element: _Element) -> None:
    """Free an element that has been read, and what stands before it in its parent."""
    element.clear(keep_tail=True)  # type: ignore[call-arg]  # missing in lxml-stubs
    parent = element.getparent()
    if parent is not None:
        while element.getprevious() is not None:
            del parent[0]


def parse_fragment(data: bytes) -> _Element:
    """Return the root of a small document as safely as ``iterate_elements`` reads a large one; raises as it does."""
    parser = SafeParser()
    root = None
    for events in (parser.feed(data), parser.close()):
        for _, element in events:
            root = element if root is None else root
    if root is None:
        raise MalformedError("there is no element in it")
    return root


class _PrologGuard:
    """Watch the bytes before the root element and refuse a DOCTYPE."""

    def __init__(self) -> None:
        self._parser = expat.ParserCreate("utf-8")
        self._parser.StartDoctypeDeclHandler = _refuse_doctype
        self._parser.StartElementHandler = _stop

    def is_passed_by(self, data: bytes) -> bool:
        """Tell whether the root element has begun; raises when a DOCTYPE or nonsense comes first."""
        try:
            self._parser.Parse(data, False)
        except _RootReached:
            return True
        except expat.ExpatError as error:
            raise MalformedError(
                f"it is not well-formed XML: {expat.ErrorString(error.code)} (line {error.lineno})",
                remedy="Ask its sender for the file again.",
            ) from error
        return False


class _RootReached(Exception):  # noqa: N818  # a signal, not an error
    """The root element begins."""


def _stop(name: str, attributes: dict[str, str]) -> None:
    raise _RootReached


def _refuse_doctype(*declaration: object) -> None:
    raise UnsafeInputError(
        f"the file has a DOCTYPE ({declaration[0]!r}), which could define entities or fetch other files",
        remedy="No honest file of this kind needs one: remove it, or ask the sender why it is there.",
    )


def _translate(error: SyntaxError) -> MalformedError | UnsafeInputError:
    line = error.lineno or 0
    reason = _PLACE.sub("", error.msg or "") or "not XML"
    if "xcessive depth" in reason:
        return UnsafeInputError(
            f"elements are nested too deeply to be honest (line {line})", remedy="Do not open the file elsewhere."
        )
    place = f" (line {line})" if line else ""
    remedy = "The file may be cut short or damaged: ask its sender for it again."
    if reason.startswith("Namespace prefix"):
        remedy = 'The program that wrote it left a declaration out: add xmlns:PREFIX="..." to its first element.'
    return MalformedError(f"it is not well-formed XML: {reason}{place}", remedy=remedy)
