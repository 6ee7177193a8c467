from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lxml.etree import _Element

from exchange.formats.xml.alike import scan_alike
from exchange.formats.xml.scan import scan_records
from exchange.formats.xml.shapes import Layout

CONTEXT = (b"<root>", b"</root>")
ALIKE = b"<r>\n<a>1</a><b><c/>\n</b>x</r>"


def take(record: _Element) -> dict[str, str]:
    return {f"{child.tag}": child.text or "" for child in record.iter() if not len(child)}


def layout() -> Layout:
    return Layout([b"r"], [], take, CONTEXT)


@settings(max_examples=200, deadline=None)
@given(
    texts=st.lists(
        st.sampled_from([b"", b"1", b" x ", b"a&amp;b", b"&#233;", "é".encode(), b"a>b", b"]]"]), min_size=1
    ),
    gap=st.sampled_from([b"", b"\n", b"  "]),
    before=st.sampled_from([b"", b"<f><n>A</n>", b"text"]),
)
def test_what_is_alike_is_read_as_the_scanner_reads_it(texts: list[bytes], gap: bytes, before: bytes) -> None:
    """Where every record is like the first, both ways give the same records and the same texts."""
    data = before + gap.join(b"<r>" + gap + b"<a>" + text + b"</a>" + gap + b"<b/></r>" for text in texts)
    alike, scanned = scan_alike(data, layout()), scan_records(data, layout())
    assert alike is not None
    assert scanned is not None
    assert alike.columns["a"].to_pylist() == scanned.columns["a"].to_pylist()
    assert alike.start.tolist() == scanned.start.tolist()
    assert alike.stop.tolist() == scanned.stop.tolist()
    assert alike.joined.tolist() == scanned.joined.tolist()


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"<f/>",
        b"<r><a>1</a></r><r><b>1</b></r>",
        b"<r><a>1</a></r><r><a>1</a><a>1</a></r>",
        b"<r><a>1</a></r><r><a >1</a></r>",
        b"<r><a>1</a></r><r> <a>1</a></r>",
        b"<r><a>1</a></r>text<r><a>1</a></r>",
        b"<r><a>1</a></r><r><a>1</a></r><f/>",
        b"<r><a>]]></a></r><r><a>1</a></r>",
        b"<r><a>\x01</a></r><r><a>1</a></r>",
        b"<r><a>\xff</a></r><r><a>1</a></r>",
        b"<r><a>&no;</a></r><r><a>1</a></r>",
        b"<r><a>&#1;</a></r><r><a>1</a></r>",
        b"<r>x<a>1</a></r><r>x<a>1</a></r>",
        b"<r><a>1</b></r><r><a>1</b></r>",
        b"<r><a><r></a></r>",
        b"<r><a>1</a>",
        b"<r><a>1</a></r",
        b'<r no="1"><a>1</a></r>',
        ALIKE,
    ],
)
def test_anything_else_is_left_alone(data: bytes) -> None:
    """A block with another order, text between elements, forbidden characters or damage is never taken."""
    assert scan_alike(data, layout()) is None


def test_differences_far_behind_the_first_records_are_seen() -> None:
    """Every record is compared, not only the few that are looked at beforehand."""
    good, bad = b"<r><a>1</a><b>2</b></r>", b"<r><b>1</b><a>2</a></r>"
    assert scan_alike(good * 100, layout()) is not None
    assert scan_alike(good * 99 + bad, layout()) is None
