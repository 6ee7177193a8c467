from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from exchange_kml import reading
from exchange_kml.plain import find_end, make_plain
from tests.plugins.kml.kit import GX, KML, read_both_ways

_TEXTS = st.sampled_from(
    [
        "",
        "Spot 1",
        "a &amp; b",
        "&#233;",
        "<![CDATA[<b>hot</b>]]>",
        "x<![CDATA[ & ]]>y",
        "]]",
        "a > b",
        "<!-- c -->d",
        "é",
        " ",
    ]
)
_DIGITS = st.integers(0, 9)
_NAMES = st.sampled_from(["temp", "Temperature (C)", "id", "name", "a&amp;b"])
_TUPLES = st.sampled_from(
    [
        "-114.2,44.5",
        " -114.2,44.5,1500.5\n",
        "-114.2, 44.5",
        "1e1,2",
        "NaN,1",
        "40 N,-120",
        "10,120",
        "1,2,3,4",
        "",
        "1,2 3,4",
    ]
)
_ASIDES = st.sampled_from(
    ["", "\n", "  ", "<!-- <Placemark> -->", "<?pi <Placemark/> ?>", "<!-- a - b -->", "\r\n", "<!--x--><!--y-->"]
)


@st.composite
def _placemarks(draw: st.DrawFn) -> str:
    parts = [f"<name>{draw(_TEXTS)}</name>"]
    if draw(st.booleans()):
        parts.append(f"<description>{draw(_TEXTS)}</description>")
    if draw(st.booleans()):
        parts.append("<TimeStamp><when>2026-08-14T19:03:05Z</when></TimeStamp>")
    if draw(st.booleans()):
        parts.append(
            draw(
                st.sampled_from(
                    ["<styleUrl>#hot</styleUrl>", "<Style><IconStyle><color>7f0000ff</color></IconStyle></Style>"]
                )
            )
        )
    if draw(st.booleans()):
        data = "".join(
            f'<Data name="{draw(_NAMES)}"><value>{draw(_TEXTS)}</value></Data>' for _ in range(draw(st.integers(0, 3)))
        )
        parts.append(
            f'<ExtendedData>{data}<SchemaData schemaUrl="#s"><SimpleData name="n">{draw(_DIGITS)}</SimpleData>'
            "</SchemaData></ExtendedData>"
        )
    if draw(st.integers(0, 9)) == 0:
        parts.append('<x:more xmlns:x="urn:x">1<x:b/></x:more>')
    parts.append(draw(_geometries()))
    separator = draw(_ASIDES)
    return f"<Placemark>{separator.join(parts)}</Placemark>"


@st.composite
def _geometries(draw: st.DrawFn) -> str:
    ring = "<LinearRing><coordinates>0,0 1,0 1,1 0,0</coordinates></LinearRing>"
    others = [
        "",
        "<LineString><coordinates>1,2,3 4,5,6</coordinates></LineString>",
        f"<Polygon><outerBoundaryIs>{ring}</outerBoundaryIs></Polygon>",
        "<MultiGeometry><Point><coordinates>1,2</coordinates></Point>"
        "<Point><coordinates>3,4</coordinates></Point></MultiGeometry>",
        "<gx:Track><when>2026-08-14T19:03:05Z</when><when>2026-08-14T19:03:06</when>"
        "<gx:coord>1 2 3</gx:coord><gx:coord/></gx:Track>",
    ]
    if draw(st.integers(0, 3)):
        mode = draw(
            st.sampled_from(
                ["", "<altitudeMode>relativeToGround</altitudeMode>", "<altitudeMode>absolute</altitudeMode>"]
            )
        )
        return f"<Point>{mode}<coordinates>{draw(_TUPLES)}</coordinates></Point>"
    return draw(st.sampled_from(others))


@st.composite
def documents(draw: st.DrawFn) -> bytes:
    """Documents of placemarks in folders, with whatever ordinary files hold between and within them."""
    features = []
    for _ in range(draw(st.integers(0, 4))):
        repeated = draw(_placemarks()) * draw(st.integers(1, 3))
        folder = draw(
            st.sampled_from(
                [
                    "{}",
                    "<Folder><name>A</name>{}</Folder>",
                    '<Folder xmlns:x="urn:x"><name>B/<![CDATA[<]]></name>{}</Folder>',
                    f'<Folder xmlns="{KML}" id="f">{{}}</Folder>',
                ]
            )
        )
        features.append(folder.replace("{}", draw(_ASIDES) + repeated + draw(_ASIDES)))
    styles = '<Style id="hot"><IconStyle><color>ff2030c0</color></IconStyle></Style>'
    schema = '<Schema id="s" name="s"><SimpleField name="n" type="int"/></Schema>'
    late = draw(st.booleans())
    body = draw(_ASIDES).join(features)
    body = schema + body + styles if late else styles + schema + body
    return f'<kml xmlns="{KML}" xmlns:gx="{GX}"><Document><name>D</name>{body}</Document></kml>'.encode()


@settings(max_examples=150, deadline=None)
@given(data=documents(), block_bytes=st.sampled_from([64, 200, 1000, 1 << 20]))
def test_the_scanner_gives_what_the_parser_gives(data: bytes, block_bytes: int) -> None:
    """Whatever a file holds, both ways make the same packet and tell the same problems."""
    fast, careful = read_both_ways(data, block_bytes=block_bytes)
    assert fast.differences(careful) == []
    assert fast.problems == careful.problems
    assert fast.attachments == careful.attachments
    for table in ("detections", "places"):
        mine, theirs = getattr(fast, table).source, getattr(careful, table).source
        assert np.array_equal(mine.record, theirs.record)
        assert mine.layer.tolist() == theirs.layer.tolist()


@settings(max_examples=60, deadline=None)
@given(
    odd=st.sampled_from(
        ["", " ", "2026-08-14T19:03:05", "noon", " 2026-08-14T19:03:05Z\n", "<!-- c -->", "&#50;026-08-14"]
    ),
    coord=st.sampled_from(["1 2 3", "", "1 2", "1e1 2 3", " 1 2 3 ", "x", "-1.5 2.25 0"]),
    count=st.integers(1, 300),
    block_bytes=st.sampled_from([200, 3000, 20_000]),
    line_end=st.sampled_from(["", "\n", "\r\n"]),
    interleaved=st.booleans(),
)
def test_long_tracks_are_read_the_same_both_ways(
    odd: str, coord: str, count: int, block_bytes: int, line_end: str, interleaved: bool
) -> None:
    """Runs of fixes taken many at a time give the track that the parser gives, odd ones among them."""
    when = f"<when>2026-08-14T19:03:05.250Z</when>{line_end}"
    place = f"<gx:coord>-114.25 44.5 1500</gx:coord>{line_end}"
    fixes = (when + place) * count if interleaved else when * count + f"<when>{odd}</when>" + place * count
    angles = f"<gx:angles>90 0 0</gx:angles>{line_end}" * count
    shape = (
        f"<gx:MultiTrack><gx:Track>{fixes}<gx:coord>{coord}</gx:coord>{angles}</gx:Track><gx:Track/></gx:MultiTrack>"
    )
    data = f'<kml xmlns="{KML}" xmlns:gx="{GX}"><Placemark><name>a</name>{shape}</Placemark></kml>'.encode()
    fast, careful = read_both_ways(data, block_bytes=block_bytes)
    assert len(careful.tracks[0]) == count + 1
    assert fast.differences(careful) == []
    assert fast.problems == careful.problems


def test_regular_files_go_through_the_scanner(monkeypatch: pytest.MonkeyPatch) -> None:
    """A regular file's placemarks are never given to the parser one by one, comments and CDATA or not."""
    taken = []
    original = reading.Gatherer.add_row
    monkeypatch.setattr(reading.Gatherer, "add_row", lambda self, *row: (taken.append(row), original(self, *row)))
    place = "<Point><coordinates>1,2</coordinates></Point>"
    one = f"<Placemark><!-- c --><name><![CDATA[<b>]]>&amp;</name>{place}</Placemark>\n"
    data = f'<kml xmlns="{KML}"><Document>{one * 500}</Document></kml>'.encode()
    fast, careful = read_both_ways(data, block_bytes=4096)
    assert fast.detections.name[499] == careful.detections.name[499] == "<b>&"
    assert len(taken) == 500  # all of them from the careful way


@pytest.mark.parametrize(
    "data",
    [
        b"<a <!-- x --> b=''>",
        b"<!-- a -- b -->",
        b"<![CDATA[ x",
        b"<!DOCTYPE kml>",
        b"a\x7f<!-- b -->",
        b"<?xml version='1.0'?>",
    ],
)
def test_what_is_not_surely_lawful_is_left_to_the_parser(data: bytes) -> None:
    """A comment within a tag, a malformed one, an unfinished section and a DOCTYPE are never taken out."""
    assert make_plain(data) is None


def test_tags_in_comments_do_not_end_a_block() -> None:
    """A closing tag that stands in a comment or a section is none."""
    closing = b"</Placemark>"
    assert find_end(b"</Placemark><!-- </Placemark>", closing) == len(closing)
    assert find_end(b"<![CDATA[</Placemark>", closing) == 0
    assert find_end(b"<!-- </Placemark> --></Placemark>", closing) == 33
