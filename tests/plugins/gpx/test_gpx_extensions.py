from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from lxml import etree

from exchange.formats.reading import read
from tests.plugins.gpx.gpx_kit import FIXTURES, GPX11, check_schema, host, read_file, read_text, write_file

EVERYWHERE = FIXTURES / "valid" / "extensions_everywhere.gpx"
CLASHING = FIXTURES / "valid" / "same_prefix_other_namespace.gpx"
OWN = "{urn:hotspot-exchange:1}"


def foreign_elements(path: Path) -> list[tuple[str, str]]:
    """Return each foreign element with what holds it, as canonical XML (computed here, not by the plugin)."""
    found = []
    for holder in etree.parse(path).iter(f"{{{GPX11}}}extensions"):
        parent = holder.getparent()
        assert parent is not None
        for element in holder:
            if not str(element.tag).startswith(OWN):
                element.tail = None
                text = etree.tostring(element, method="c14n", exclusive=True)
                found.append((etree.QName(parent).localname, text.decode()))
    return sorted(found)


def test_every_extension_comes_through(tmp_path: Path) -> None:
    """Elements of metadata, points, routes, tracks, segments and the file itself are canonically the same."""
    write_file(read_file(EVERYWHERE), tmp_path / "out.gpx")
    assert foreign_elements(tmp_path / "out.gpx") == foreign_elements(EVERYWHERE)
    holders = {holder for holder, _ in foreign_elements(EVERYWHERE)}
    assert holders == {"metadata", "wpt", "rte", "rtept", "trk", "trkseg", "trkpt", "gpx"}
    check_schema(tmp_path / "out.gpx")


def test_clashing_prefixes_are_merged(tmp_path: Path) -> None:
    """Two files that bind one prefix to two namespaces go into one file, each element in its own namespace."""
    merged = read([EVERYWHERE, CLASHING], host=host())
    write_file(merged, tmp_path / "out.gpx")
    assert foreign_elements(tmp_path / "out.gpx") == sorted(foreign_elements(EVERYWHERE) + foreign_elements(CLASHING))
    assert merged == read_file(tmp_path / "out.gpx")
    check_schema(tmp_path / "out.gpx")


def test_gpx_1_0_keeps_them_in_place(tmp_path: Path) -> None:
    """In version 1.0 foreign elements stand directly in the point, and come back the same."""
    packet = read_file(EVERYWHERE)
    write_file(packet, tmp_path / "old.gpx", version="1.0")
    assert packet == read_file(tmp_path / "old.gpx")
    write_file(read_file(tmp_path / "old.gpx"), tmp_path / "new.gpx")
    kept = foreign_elements(tmp_path / "new.gpx")
    assert [element for element in foreign_elements(EVERYWHERE) if element[0] != "trkseg"] == [
        element for element in kept if element[0] != "trkseg"
    ]


def test_plain_words_become_columns() -> None:
    """Simple extension elements are read as columns by their plain names; a unit beside them counts."""
    packet = read_file(EVERYWHERE)
    assert packet.detections.temperature.tolist() == pytest.approx([(300 - 32) * 5 / 9])
    track = packet.tracks[-1]
    assert track.heading.tolist() == [90.0]
    assert track.extra["pitch"].tolist() == ["-45"]
    assert track.properties["segment_extensions"] == {"0": '<m:pass xmlns:m="urn:example:marks">1</m:pass>'}


def test_values_with_qualified_names_keep_their_prefix(tmp_path: Path) -> None:
    """A prefix that only an attribute's value uses is still bound after a round trip."""
    given = (
        f'<gpx xmlns="{GPX11}" version="1.1" creator="c" xmlns:t="urn:types" xmlns:i="urn:i"><wpt lat="1" lon="2">'
        '<extensions><i:a i:type="t:Kind">1</i:a></extensions></wpt></gpx>'
    )
    write_file(read_text(tmp_path, given), tmp_path / "out.gpx")
    (element,) = etree.parse(tmp_path / "out.gpx").iter("{urn:i}a")
    assert element.nsmap["t"] == "urn:types"


def test_many_shapes_of_extensions(tmp_path: Path) -> None:
    """Nested, empty, repeated and reordered extensions in thousands of points come through one by one."""
    inner: list[Any] = [
        "<m:a>1</m:a><m:b>2</m:b>",
        "<m:b>2</m:b><m:a>1</m:a>",
        "<m:a/><m:a>x &amp; y</m:a>",
        '<m:c k="1"><m:d>\n <m:e>&lt;</m:e></m:d></m:c>',
    ]
    points = "".join(
        f'<trkpt lat="{n / 1000}" lon="1"><extensions>{inner[n % 4]}</extensions></trkpt>' for n in range(4000)
    )
    given = f'<gpx xmlns="{GPX11}" version="1.1" creator="c" xmlns:m="urn:m"><trk><trkseg>{points}</trkseg></trk></gpx>'
    (tmp_path / "in.gpx").write_text(given)
    write_file(read_file(tmp_path / "in.gpx"), tmp_path / "out.gpx")
    assert foreign_elements(tmp_path / "out.gpx") == foreign_elements(tmp_path / "in.gpx")
