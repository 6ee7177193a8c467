from __future__ import annotations

import tempfile
from pathlib import Path

from hypothesis import given, settings
from hypothesis import strategies as st

from tests.plugins.gpx.gpx_kit import GPX11, read_both_ways

NUMBER = st.sampled_from(["1", "-114.2031", " 2.5 ", "+3", "nan", "1e1", "44,5", "", "0", "91"])
TIME = st.sampled_from(
    ["2026-08-14T19:03:05Z", "2026-08-14T19:03:05", "2026-08-14T19:03:05.5Z", "soon", "2026-08-14T12:00:00-07:00"]
)
TEXT = st.sampled_from(
    ["Spot 1", "drop point", "a &amp; b", "<![CDATA[<x>]]>", "é", "", " ", "x<!-- c -->y", "line\r\nend", "a > b"]
)
EXTENSION = st.sampled_from(
    [
        "<m:heading>90</m:heading>",
        "<m:heading>12.5</m:heading><m:temp unit='C'>30</m:temp>",
        '<m:cam k="&lt;"><m:pitch>-45</m:pitch>\n <m:zoom/></m:cam>',
        '<n xmlns="urn:n">1</n>',
        "<x:f n='count' t='int'>7</x:f>",
    ]
)


@st.composite
def children(draw: st.DrawFn) -> str:
    parts = {
        "ele": f"<ele>{draw(NUMBER)}</ele>",
        "time": f"<time>{draw(TIME)}</time>",
        "name": f"<name>{draw(TEXT)}</name>",
        "desc": f"<desc>{draw(TEXT)}</desc>",
        "sym": f"<sym>{draw(TEXT)}</sym>",
        "link": f'<link href="p/{draw(st.sampled_from(["1.jpg", "a b", "&amp;"]))}"><text>{draw(TEXT)}</text></link>',
        "extensions": f"<extensions>{draw(EXTENSION)}</extensions>",
        "comment": "<!-- <wpt/> -->",
    }
    chosen = draw(st.lists(st.sampled_from(sorted(parts)), max_size=4, unique=draw(st.booleans())))
    space = draw(st.sampled_from(["", "\n  ", "\r\n"]))
    return "".join(space + parts[name] for name in chosen)


@st.composite
def points(draw: st.DrawFn, name: str) -> str:
    attributes = [f'lat="{draw(NUMBER)}"', f'lon="{draw(NUMBER)}"']
    order = draw(st.sampled_from([1, 1, 1, -1]))
    inner = draw(children())
    start = f"<{name} {' '.join(attributes[::order])}"
    return f"{start}/>" if not inner and draw(st.booleans()) else f"{start}>{inner}</{name}>"


@st.composite
def many(draw: st.DrawFn, name: str) -> str:
    kinds = draw(st.lists(points(name), min_size=1, max_size=3))
    return draw(st.sampled_from(["", "\n"])).join(draw(st.lists(st.sampled_from(kinds), max_size=8)))


@st.composite
def files(draw: st.DrawFn) -> str:
    segments = "".join(f"<trkseg>{draw(many('trkpt'))}</trkseg>" for _ in range(draw(st.integers(0, 3))))
    track = f"<trk><name>{draw(TEXT)}</name><extensions>{draw(EXTENSION)}</extensions>{segments}</trk>"
    route = f"<rte>{draw(many('rtept'))}</rte>"
    body = draw(st.sampled_from(["{w}{r}{t}", "{t}{w}", "{w}", "{t}{t}", "{w}{r}"])).format(
        w=draw(many("wpt")), r=route, t=track
    )
    space = draw(st.sampled_from([f'xmlns="{GPX11}"', "", 'xmlns="urn:odd"']))
    return f'<gpx {space} version="1.1" creator="c" xmlns:m="urn:m" xmlns:x="urn:hotspot-exchange:1">{body}</gpx>'


@settings(max_examples=120, deadline=None)
@given(files(), st.integers(50, 3000))
def test_the_scanner_gives_what_the_parser_gives(text: str, block_bytes: int) -> None:
    """Whatever a GPX file holds, the fast way and the careful way make the same model and tell the same problems."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "drawn.gpx"
        path.write_bytes(text.encode())
        fast, careful = read_both_ways(path, block_bytes=block_bytes)
    assert fast.differences(careful) == []
    assert fast.problems == careful.problems
