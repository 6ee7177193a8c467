from __future__ import annotations

import io
from collections.abc import Iterator
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from exchange.errors import MalformedError, UnsafeInputError
from exchange.formats.xml.canonical import canonicalise
from exchange.formats.xml.simplify import simplify
from exchange.formats.xml.stream import Run, stream_records

Record = tuple[str, dict[str, str]]


def take(element: Any) -> dict[str, str]:
    """Take attributes, the texts of simple children by qualified name, and the whole of any other child."""
    taken = {f"@{name}": value for name, value in element.attrib.items()}
    for place, child in enumerate(element):
        simple = not len(child) and not child.attrib
        taken[f"{child.tag}#{place}"] = (child.text or "") if simple else canonicalise(child)
    return taken


def read(data: bytes, *, careful: bool = False, block_bytes: int = 200) -> tuple[list[Any], int]:
    """Return everything in order (starts and ends of groups, records), and how many records came in runs."""
    found: list[Any] = []
    in_runs = 0
    events = stream_records(
        io.BytesIO(data),
        records=("p", "q"),
        variable=("p", "link"),
        take=take,
        tags=["{*}p", "{*}q", "{*}g", "{*}name"],
        careful=careful,
        block_bytes=block_bytes,
    )
    for kind, what in events:
        if isinstance(what, Run):
            found += list(rows_of(what))
            in_runs += what.rows.stop - what.rows.start
        elif kind == "end" and what.tag.rpartition("}")[2] in ("p", "q"):
            found.append((what.tag.rpartition("}")[2], take(what)))
        elif what.tag.rpartition("}")[2] not in ("p", "q") and kind == "end":
            found.append(("end", what.tag, what.text if what.tag.endswith("name") else ""))
        elif kind == "start" and what.tag.rpartition("}")[2] == "g":
            found.append(("start", what.tag))
    return found, in_runs


def rows_of(run: Run) -> Iterator[Record]:
    columns = {
        key: cells.slice(run.rows.start, run.rows.stop - run.rows.start) for key, cells in run.scan.columns.items()
    }
    lists = {key: cells.to_pylist() for key, cells in columns.items()}
    for row in range(run.rows.stop - run.rows.start):
        yield run.name, {key: values[row] for key, values in lists.items() if values[row] is not None}


SPACE = st.sampled_from(["", "\n", "\n  ", " \t", "\r\n"])
ODD = st.sampled_from(
    [
        "",
        "",
        "",
        "<!-- c -->",
        "<!-- <p> -->",
        "<?pi x?>",
        "<![CDATA[a<&]]>",
        "&amp;",
        "&#233;",
        "&#x1F525;",
        ">",
        "'",
        '"',
    ]
)
TEXT = st.one_of(
    st.sampled_from(["1", "12.5", "spot 7", "", " ", "Crête", "🔥"]),
    st.tuples(st.sampled_from(["a", "", "b c"]), ODD, st.sampled_from(["", "z", "\n"])).map("".join),
)
VALUE = st.sampled_from(["1", "-117.25", "a&amp;b", "x'y", "", "é", "a\tb", "1>2"])


@st.composite
def records(draw: st.DrawFn) -> str:
    inner = []
    kinds = ["n", "t", "x:n", "x:deep", "link", "empty"]
    for kind in draw(st.lists(st.sampled_from(kinds), max_size=4)):
        space, text = draw(SPACE), draw(TEXT)
        if kind == "x:deep":
            inner.append(
                f'{space}<x:deep k="1"><x:a>{text}</x:a>{space}<y:b xmlns:y="urn:y">{draw(TEXT)}</y:b></x:deep>'
            )
        elif kind == "link":
            inner.append(f'{space}<link href="{draw(VALUE)}"/>')
        elif kind == "empty":
            inner.append(f"{space}<empty/>")
        else:
            inner.append(f"{space}<{kind}>{text}</{kind}>")
    body = "".join(inner) + draw(SPACE)
    if draw(st.integers(0, 9)) == 0:
        return "<q/>"
    name = draw(st.sampled_from(["p", "p", "p", "q"]))
    attributes = f' a="{draw(VALUE)}" b="{draw(VALUE)}"' if name == "p" else ""
    return f"<{name}{attributes}>{body}</{name}>"


@st.composite
def documents(draw: st.DrawFn) -> bytes:
    shapes = draw(st.lists(records(), min_size=1, max_size=4))
    parts = []
    for _ in range(draw(st.integers(1, 6))):
        group = draw(st.lists(st.sampled_from(shapes), min_size=0, max_size=12))
        joined = draw(SPACE).join(group)
        attribute = draw(st.sampled_from(["", "", "", ' xmlns:x="urn:other"']))
        parts.append(
            draw(st.sampled_from([joined, f"<g{attribute}><name>{draw(TEXT)}</name>{joined}</g>", "<!-- </p> -->"]))
        )
    root = draw(
        st.sampled_from(['<r xmlns:x="urn:x">', '<r xmlns="urn:r" xmlns:x="urn:x" k=">">', "<r xmlns:x='urn:x'\n>"])
    )
    head = draw(st.sampled_from(["", '<?xml version="1.0"?>\n', "<!-- a -->\n"]))
    return f"{head}{root}{''.join(parts)}</r>".encode()


@settings(deadline=None, max_examples=400)
@given(documents(), st.integers(20, 600))
def test_scanned_and_parsed_records_are_the_same(data: bytes, block_bytes: int) -> None:
    """Whatever the file holds, runs of records and careful elements give the same, in the same order."""
    careful, none = read(data, careful=True)
    fast, _ = read(data, block_bytes=block_bytes)
    assert none == 0
    assert fast == careful


REGULAR = (
    b'<r xmlns="urn:r" xmlns:x="urn:x">\n<g><name>A</name>'
    + b"".join(b'<p a="%d" b="-1.5"><n>%d</n><x:deep><x:a>%d</x:a></x:deep></p>\n' % (i, i, i) for i in range(500))
    + b"</g></r>"
)


def test_regular_files_are_scanned_whole() -> None:
    """Every record of a regular file comes in a run, nested foreign elements included."""
    found, in_runs = read(REGULAR, block_bytes=4096)
    assert in_runs == 500
    assert found == read(REGULAR, careful=True)[0]
    assert found[2] == (
        "p",
        {"@a": "0", "@b": "-1.5", "{urn:r}n#0": "0", "{urn:x}deep#1": '<x:deep xmlns:x="urn:x"><x:a>0</x:a></x:deep>'},
    )


@pytest.mark.parametrize(
    "oddity",
    [
        b"<p a='1' b='2'/>",
        b'<p a="1" b="2"><n>1<!-- c --></n></p>',
        b'<p b="2" a="1"><x:z/><n><![CDATA[<]]></n></p>',
        b'<p a="1" b="2"><n>a &amp; b &#233; -&gt; ></n></p>',
        b'\r\n<p a="1"\r\n b="2"><n>1\r\n2</n></p>',
        b'<p a="1" b="2">stray<n>1</n></p>',
    ],
)
def test_ordinary_oddities_change_nothing(oddity: bytes) -> None:
    """A comment, CDATA, a reference, another order or quote in the midst of a file is read as a parser reads it."""
    data = REGULAR.replace(b'<p a="300"', oddity + b'<p a="300"')
    assert read(data, block_bytes=2048)[0] == read(data, careful=True)[0]


def test_most_of_an_ordinary_file_is_scanned() -> None:
    """Comments, CDATA, references and missing or reordered elements do not send a file the careful way."""
    rows = [
        b'<p a="1" b="2"><n>1</n><t>x</t></p>',
        b'<p a="1" b="2"><t>x &amp; y</t><n>1</n></p>',
        b'<p a="1" b="2"><!-- c --><n><![CDATA[1]]></n></p>',
    ]
    data = b"<r>" + b"\r\n".join(rows * 200) + b"</r>"
    found, in_runs = read(data, block_bytes=4096)
    assert in_runs == 600
    assert found == read(data, careful=True)[0]


@pytest.mark.parametrize(
    ("broken", "reason"),
    [
        (b"<n>\xff</n>", "Invalid bytes"),
        (b"<n>\x01</n>", "invalid Char"),
        (b"<n>\xef\xbf\xbf</n>", "Char|bytes"),
        (b"<n>&nope;</n>", "'nope' not defined"),
        (b"<n>&#1;</n>", "invalid xmlChar"),
        (b"<n>a & b</n>", "not well-formed"),
        (b"<n>]]></n>", "not well-formed"),
        (b"<n>1</m>", "tag mismatch"),
        (b"<n><m>1</n></m>", "tag mismatch"),
        (b"<n", "not well-formed"),
        (b"<y:n>1</y:n>", "prefix y on n is not defined"),
        (b'<n k="1" k="1">1</n>', "redefined"),
        (b"<!-- a -- b -->", "not well-formed"),
        (b"</p>", "not well-formed"),
        (b"<p>", "not well-formed"),
    ],
)
def test_what_is_broken_is_refused_in_the_midst_of_runs(broken: bytes, reason: str) -> None:
    """No fault of form slips through between scanned records, and the line is told rightly."""
    data = REGULAR.replace(b'<p a="300" b="-1.5">', b'<p a="300" b="-1.5">' + broken)
    with pytest.raises(MalformedError, match=reason):
        read(data, careful=True)
    with pytest.raises(MalformedError, match=rf"{reason}(?s:.*)\(line 30[12]\)|{reason}"):
        read(data, block_bytes=4096)


def test_lines_are_counted_through_runs() -> None:
    """An error behind many scanned records names its true line."""
    with pytest.raises(MalformedError, match=r"\(line 502\)"):
        read(REGULAR.replace(b"</g></r>", b"</h></r>"), block_bytes=4096)


def test_a_truncated_file_is_refused() -> None:
    """A file cut within its records is an error, after whatever whole runs came before."""
    with pytest.raises(MalformedError, match="not well-formed"):
        read(REGULAR[:9000], block_bytes=4096)


def test_unsafe_files_are_refused() -> None:
    """A DOCTYPE is refused on this way too."""
    with pytest.raises(UnsafeInputError, match="DOCTYPE"):
        read(b"<!DOCTYPE r>" + REGULAR)


def test_a_prefix_with_two_meanings_is_the_parsers_business() -> None:
    """Records in an element that binds a prefix anew get the new namespace."""
    data = b'<r xmlns:x="urn:1"><g xmlns:x="urn:2"><p a="1"><x:n>1</x:n></p></g><p a="1"><x:n>1</x:n></p></r>'
    found, _ = read(data)
    keys = [set(record[1]) for record in found if record[0] == "p"]
    assert keys == [{"@a", "{urn:2}n#0"}, {"@a", "{urn:1}n#0"}]


def test_a_mark_cannot_be_forged() -> None:
    """A record that carries the attribute of a mark is a record."""
    data = REGULAR.replace(b'<p a="300"', b'<p run="0-0" a="300"')
    assert read(data, block_bytes=4096)[0] == read(data, careful=True)[0]


def test_simplify_reads_marks_left_to_right() -> None:
    """A comment within CDATA is text, CDATA within a comment is none, and what is broken stays."""
    assert simplify(b"<![CDATA[<!-- -->]]>") == b"&lt;!-- --&gt;"
    assert simplify(b"a<!-- <![CDATA[x]]> -->b") == b"ab"
    assert simplify(b"<!-- a -- b -->") == b"<!-- a -- b -->"
    assert simplify(b"a\rb\r\n") == b"a\nb\n"
    assert simplify(b"plain") == b"plain"
