from __future__ import annotations

import io
import re

import pytest

from exchange.errors import MalformedError, OptionError, UnsafeInputError
from exchange.formats.xml.parse import discard, iterate_elements, parse_fragment


def texts_of(data: bytes, tag: str, *, encoding: str = "") -> list[str]:
    found = []
    for event, element in iterate_elements(io.BytesIO(data), tags=[tag], encoding=encoding):
        if event == "end":
            found.append(element.text or "")
            discard(element)
    return found


def test_elements_come_one_by_one() -> None:
    """Each element is whole at its end; comments are left out and CDATA is text."""
    assert texts_of(b"<r><p>1</p><!-- <p>no</p> --><p>a<![CDATA[<b>]]><!-- x -->c</p></r>", "p") == ["1", "a<b>c"]


def test_memory_stays_constant() -> None:
    """Discarded elements are gone from the tree while the file is still being read."""
    data = b"<r>" + b"<p>x</p>" * 200_000 + b"</r>"
    held = []
    for number, (event, element) in enumerate(iterate_elements(io.BytesIO(data), tags=["p"])):
        if event == "end":
            discard(element)
            parent = element.getparent()
            if number % 5000 == 1 and parent is not None:
                held.append(len(parent))
    # One chunk of the file may already have been parsed ahead.
    assert len(held) > 10
    assert max(held) < 100_000


BOMB = (
    b'<!DOCTYPE r [<!ENTITY a "lol">'
    + b"".join(b'<!ENTITY %c "%s">' % (98 + i, b"&%c;" % (97 + i) * 10) for i in range(9))
    + b"]><r>&j;</r>"
)


@pytest.mark.parametrize(
    "data",
    [
        BOMB,
        b"<!DOCTYPE r><r/>",
        b'<?xml version="1.0"?>\n<!-- x -->\n<!DOCTYPE r SYSTEM "http://example.org/x.dtd"><r/>',
        b'<!DOCTYPE r [<!ENTITY x SYSTEM "file:///etc/passwd">]><r>&x;</r>',
        b'<!DOCTYPE r [<!ENTITY x "y">]><r a="&x;"/>',
        '<?xml version="1.0" encoding="utf-16"?><!DOCTYPE r><r/>'.encode("utf-16"),
        b"<!--" + b"x" * 600_000 + b"--><!DOCTYPE r><r/>",
    ],
    ids=["bomb", "bare", "external-dtd", "external-entity", "attribute", "utf-16", "late"],
)
def test_a_doctype_is_refused(data: bytes) -> None:
    """Whatever a DOCTYPE would do, it is refused before it is done."""
    with pytest.raises(UnsafeInputError, match="has a DOCTYPE"):
        texts_of(data, "r")


def test_the_entity_bombs_of_a_registry_package_are_refused() -> None:
    """Every hostile file that the defusedxml source distribution carries is refused (defusedxml 0.7.1, xmltestdata)."""
    from tests.reference.packages import package_files

    folder = package_files("defusedxml", "0.7.1") / "xmltestdata"
    hostile = [p for p in sorted(folder.glob("*.xml")) if b"<!DOCTYPE" in p.read_bytes()]
    assert len(hostile) >= 5
    for path in hostile:
        with pytest.raises(UnsafeInputError, match="DOCTYPE"):
            texts_of(path.read_bytes(), "{*}none")


@pytest.mark.parametrize("closed", [True, False])
def test_a_million_nested_elements_are_refused(closed: bool) -> None:
    """Nesting beyond any honest depth is an error, not a crash."""
    data = b"<r>" * 10**6 + b"</r>" * 10**6 * closed
    with pytest.raises(UnsafeInputError, match="nested too deeply"):
        texts_of(data, "p")


def test_a_long_text_is_read() -> None:
    """A single text of more than ten million bytes, such as a long line's coordinates, is no attack."""
    assert len(texts_of(b"<r><p>" + b"1,2 " * 3_000_000 + b"</p></r>", "p")[0]) == 12_000_000


@pytest.mark.parametrize(
    ("data", "reason"),
    [
        (b"<r>\n<p>1</p>\n<p>", r"not well-formed XML: Premature end of data.*\(line 3\)"),
        (b"<r>\n<p></r>", r"tag mismatch.*\(line 2\)"),
        (b"<r>\n\n<p>\xff</p></r>", r"Invalid bytes.*\(line 3\)"),
        (b"<r>\n<p>\x01</p></r>", r"invalid Char value 1 \(line 2\)"),
        (b"<r><p>&nbsp;</p></r>", r"Entity 'nbsp' not defined"),
        (b"<r><q:p/></r>", r"prefix q on p is not defined"),
        (b"<r/><r/>", r"Extra content"),
        (b"", r"not well-formed|no element"),
        (b"hello", r"not well-formed XML"),
        (b"<r", r"not well-formed XML"),
    ],
)
def test_malformed_files_name_the_line(data: bytes, reason: str) -> None:
    """What is cut short or ill formed is an error that says why and where."""
    with pytest.raises(MalformedError, match=reason):
        texts_of(data, "p")


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "iso-8859-1", "windows-1252", "utf-16-le"])
def test_declared_encodings_are_read(encoding: str) -> None:
    """A file comes out the same in every encoding that it declares or marks."""
    head = '<?xml version="1.0" encoding="{}"?>'.format("utf-8" if encoding == "utf-8-sig" else encoding)
    assert texts_of((head + "<r><p>Crête</p></r>").encode(encoding), "p") == ["Crête"]


def test_a_stated_encoding_overrides_the_file() -> None:
    """The option wins over a declaration that lies."""
    data = '<?xml version="1.0" encoding="utf-8"?><r><p>Crête</p></r>'.encode("cp1252")
    assert texts_of(data, "p", encoding="windows-1252") == ["Crête"]


def test_wrong_encodings_are_errors() -> None:
    """Unknown names and bytes that do not fit are refused, not replaced."""
    with pytest.raises(MalformedError, match="'no-such' is not known"):
        texts_of(b'<?xml version="1.0" encoding="no-such"?><r/>', "r")
    with pytest.raises(OptionError, match="'no-such' is not known"):
        texts_of(b"<r/>", "r", encoding="no-such")
    with pytest.raises(OptionError, match="no encoding of text"):
        texts_of(b"<r/>", "r", encoding="hex")
    with pytest.raises(MalformedError, match="bytes in line 2 do not fit"):
        texts_of(b'<?xml version="1.0" encoding="shift_jis"?>\n<r>\x81</r>', "r")


def test_a_fragment_is_parsed_as_safely() -> None:
    """A small document gives its root, or the same errors."""
    assert parse_fragment(b"<r><p/></r>").tag == "r"
    with pytest.raises(UnsafeInputError, match="DOCTYPE"):
        parse_fragment(b"<!DOCTYPE r><r/>")
    with pytest.raises(MalformedError, match=re.escape("not well-formed")):
        parse_fragment(b"<r>")
