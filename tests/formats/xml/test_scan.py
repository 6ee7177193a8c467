from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lxml.etree import _Element

from exchange.errors import MalformedError
from exchange.formats.xml.parse import parse_fragment
from exchange.formats.xml.scan import Scan, scan_records
from exchange.formats.xml.shapes import Layout

CONTEXT = (b"<root>", b"</root>")


def take(record: _Element) -> dict[str, str]:
    """Take the attributes and the texts of whatever holds no other element."""
    leaves = {str(each.tag): each.text or "" for each in record.iter() if not len(each)}
    return {f"@{name}": str(value) for name, value in record.attrib.items()} | leaves


def scan(data: bytes) -> Scan | None:
    return scan_records(data, Layout([b"r", b"record-of-a-long-name"], [b"r"], take, CONTEXT))


def rows_of(found: Scan) -> list[dict[str, str]]:
    """Return what was taken of each record, in order."""
    columns = {key: cells.to_pylist() for key, cells in found.columns.items()}
    return [{k: v[row] for k, v in columns.items() if v[row] is not None} for row in range(len(found.start))]


TEXT = st.sampled_from(["", "1", " x ", "a&amp;b", "&#233;", "é", "a>b", "]]", '"', "it's"])
GAP = st.sampled_from(["", "\n", "  "])
QUOTED = st.sampled_from(['"1"', "'1'", '"it\'s"', "'a\"b'", '"a>b"', "'&lt;'", '""'])


@st.composite
def record_texts(draw: st.DrawFn) -> str:
    name = draw(st.sampled_from(["r", "r", "r", "record-of-a-long-name"]))
    tag = f"{name} no={draw(QUOTED)}{draw(st.sampled_from(['', ' ', chr(10)]))}" if draw(st.booleans()) else name
    if draw(st.integers(0, 9)) == 0:
        return f"<{tag}/>"
    inner = [f"<a>{draw(TEXT)}</a>", draw(GAP), "<b><c/></b>", draw(GAP), "<d/>"]
    return f"<{tag}>{''.join(inner[: draw(st.integers(0, 5))])}</{name}>"


@settings(max_examples=300, deadline=None)
@given(records=st.lists(record_texts(), min_size=1, max_size=8), gap=GAP, times=st.integers(1, 3))
def test_records_are_read_as_the_parser_reads_them(records: list[str], gap: str, times: int) -> None:
    """Whatever the shapes of records and their order, each gives what is taken of it when it is parsed alone."""
    texts = [text.encode() for text in records * times]
    data = gap.encode().join(texts)
    found = scan(b"<f>" + data + b"</f>")
    assert found is not None
    assert [data[begin - 3 : end - 3] for begin, end in zip(found.start, found.stop, strict=True)] == texts
    assert rows_of(found) == [take(parse_fragment(b"<root>" + text + b"</root>")[0]) for text in texts]
    assert found.joined.tolist() == [False] + [True] * (len(texts) - 1)


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"<f/>",
        b"<r><a>]]></a></r><r><a>1</a></r>",
        b"<r><a>\x01</a></r><r><a>1</a></r>",
        b"<r><a>\xff</a></r><r><a>1</a></r>",
        b"<r><a>&no;</a></r><r><a>1</a></r>",
        b"<r><a>&#1;</a></r><r><a>1</a></r>",
        b'<r no="&no;"/>',
        b'<r no="1\t2"/>',
        b"<r>x<a>1</a></r><r>x<a>1</a></r>",
        b"<r><a>1</b></r><r><a>1</b></r>",
        b"<r><a><r></a></r>",
        b"<r><a>1</a>",
        b"<r><a>1</a></r",
        b"</r><r><a>1</a></r>",
        b"<r><a>1</a></r></r>",
        b"<r></record-of-a-long-name>",
        b"<r no=1/>",
        b'<r no="1/>',
        b'<r no="1<2"/>',
        b'<r no="1" no="2"/>',
        b"<r><!-- c --></r>",
        b"<r>" + b"<a/>" * 600 + b"</r>",
    ],
)
def test_what_is_broken_or_no_plain_record_is_left_alone(data: bytes) -> None:
    """Damage, forbidden characters, text where none is wanted or very long records are the parser's business."""
    assert scan(data) is None


@pytest.mark.parametrize(
    "bad",
    [
        b"<r><a>1</a>x</r>",
        b"<r><a>1</b></r>",
        b"<r><a>1</a ></r>",
        b'<r no="1><a>1</a></r>',
        b'<r no="1<"><a>1</a></r>',
        b'<r no="1" no="1"><a>1</a></r>',
        b"<r no='1\"><a>1</a></r>",
        b"<r><a>1</a></r>",
    ],
)
def test_differences_far_behind_the_first_records_are_seen(bad: bytes) -> None:
    """Every record is compared, not only the first few: one that differs is read for itself or refuses the block."""
    good = b'<r no="1"><a>1</a></r>'
    found = scan(good * 99 + bad)
    try:
        alone = take(parse_fragment(b"<root>" + bad + b"</root>")[0])
    except MalformedError:
        assert found is None
    else:
        assert found is None or rows_of(found) == [{"@no": "1", "a": "1"}] * 99 + [alone]


def test_text_between_records_parts_them() -> None:
    """Records are joined only when nothing but white space stands between them."""
    found = scan(b"<r/> <r/>\n\n<r/>text<r/><f/><r/><r/>")
    assert found is not None
    assert found.joined.tolist() == [False, True, True, False, False, True]


def test_a_longer_name_is_no_record() -> None:
    """An element whose name only begins like a record's is none."""
    found = scan(b"<rr><a>1</a></rr><r><a>2</a></r><r.x/>")
    assert found is not None
    assert rows_of(found) == [{"a": "2"}]
