from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from exchange.errors import NotThisFormatError, OptionError
from exchange.formats.format import InputFile
from exchange.formats.options import ReadOptions
from exchange.formats.positions import POSITION_TEXT
from exchange.model import Packet
from exchange_gpx.format import GpxFormat
from exchange_gpx.reading import read_gpx
from tests.plugins.gpx.gpx_kit import FIXTURES, GPX11, read_both_ways, read_file, read_text

VALID = FIXTURES / "valid"
ROOT = f'<gpx xmlns="{GPX11}" version="1.1" creator="c">'


def seconds(*texts: str) -> list[np.datetime64]:
    return [np.datetime64(text, "ms") for text in texts]


def test_elevation_zero_is_not_missing() -> None:
    """Zero and minus zero are heights; numbers may be padded or signed."""
    (track,) = read_file(VALID / "elevation_zero_and_padded_numbers.gpx").tracks
    assert track.altitude.tolist() == [0.0, 0.0]
    assert track.latitude.tolist() == [1.5, 10.0]
    assert track.longitude.tolist() == [2.5, 0.5]


def test_times_are_utc() -> None:
    """Offsets are taken off; a time without a zone is UTC, as the standard says, and told; nonsense is kept as text."""
    packet = read_file(VALID / "times_without_zone_and_unreadable.gpx")
    (track,) = packet.tracks
    assert list(track.time[:3]) == seconds("2026-08-14T19:03:05", "2026-08-14T19:03:05", "2026-08-14T19:03:05.250")
    assert np.isnat(track.time[3:]).all()
    assert track.extra["time_text"].tolist() == ["", "", "", "yesterday", ""]
    told = {(p.severity, p.record, p.count) for p in packet.problems if p.field == "time"}
    assert told == {("note", 1, 1), ("skipped", 4, 1)}


def test_a_stated_zone_counts_for_times_without_one() -> None:
    """The option overrides the standard's rule where the device wrote local time."""
    (track,) = read_file(VALID / "times_without_zone_and_unreadable.gpx", assume_timezone="America/Boise").tracks
    assert track.time[0] == np.datetime64("2026-08-15T01:03:05", "ms")


def test_positions_that_are_none_are_kept_as_text() -> None:
    """NaN, infinity, words, latitude 120 and a decimal comma give no position, each told, none silently."""
    packet = read_file(VALID / "positions_that_are_none.gpx")
    spots = packet.detections
    assert np.isnan(spots.longitude).all()
    assert np.isnan(spots.latitude).all()
    assert spots.extra[POSITION_TEXT].tolist()[:3] == ["NaN 1", "inf 2", "north 3"]
    assert spots.extra[POSITION_TEXT][5] == "44,5 1"
    assert sorted(p.count for p in packet.problems if p.field == "position") == [2, 4]


def test_version_1_0_is_read_with_its_own_elements() -> None:
    """Course, speed, addresses and foreign elements of 1.0 are kept; author and mail become metadata."""
    packet = read_file(VALID / "version_1_0_with_course_and_speed.gpx")
    (track,) = packet.tracks
    assert (track.longitude[0], track.altitude[0]) == (180.0, 0.0)
    assert (track.extra["course"][0], track.extra["speed"][0]) == ("360", "3.5")
    assert track.properties["link"] == "https://example.org/t"
    assert (packet.places.kind[0], packet.places.symbol[0]) == ("drop point", "Flag")
    author = next(data for name, data in packet.attachments.items() if "author" in name)
    assert b"<name>R. Vole</name>" in author
    assert b'domain="example.org"' in author


@pytest.mark.parametrize(
    ("name", "words"), [("no_namespace", "no namespace"), ("wrong_namespace_no_version", "no version")]
)
def test_untidy_roots_are_read_and_told(name: str, words: str) -> None:
    """A missing or wrong namespace, or version, is no reason to read nothing."""
    packet = read_file(VALID / f"{name}.gpx")
    assert packet.detections.name.tolist() == ["Spot 1"]
    assert [p.severity for p in packet.problems if words in p.message] == ["note"]


def test_encodings_and_line_ends() -> None:
    """Latin-1, UTF-16 and a byte order mark are read; CR LF is one line end."""
    for name in ("latin_1", "utf_16"):
        assert read_file(VALID / f"{name}.gpx").detections.name.tolist() == ["Crête"]
    assert read_file(VALID / "byte_order_mark_crlf.gpx").detections.name.tolist() == ["two\nlines"]


def test_comments_hold_no_points() -> None:
    """A point within a comment is none; CDATA and references are text; order does not matter."""
    packet = read_file(VALID / "comments_cdata_entities_other_order.gpx")
    assert packet.detections.name.tolist() == ["A & B", "café <1>"]
    assert packet.detections.longitude.tolist() == [-114.2, -114.3]
    assert packet.tracks[0].altitude.tolist()[0] == 1520.5
    assert len(packet.tracks[0]) == 2


def test_segments_and_sources() -> None:
    """Empty segments count, every row knows its layer and record."""
    packet = read_file(VALID / "empty_segments_and_tracks.gpx")
    assert [len(track) for track in packet.tracks] == [0, 1, 0]
    track = packet.tracks[1]
    assert track.segment.tolist() == [1]
    assert (track.source[0].layer, track.source[0].record) == ("tracks", 1)
    assert packet.tracks[0].name == "nothing"
    assert packet.tracks[2].properties["gpx_form"] == "route"


def test_layers_are_chosen() -> None:
    """Only the layers asked for are read."""
    path = VALID / "extensions_everywhere.gpx"
    assert read_file(path, layers=("waypoints",)).counts()["tracks"] == 0
    assert [t.name for t in read_file(path, layers=("routes",)).tracks] == ["way in"]
    assert read_file(path, layers=("tracks",)).counts()["detections"] == 0
    with pytest.raises(OptionError, match=r"no layer 'nosuch'\n.*: 'routes', 'tracks', 'waypoints'"):
        read_file(path, layers=("waypoints", "nosuch"))


def test_points_outside_of_tracks_are_counted(tmp_path: Path) -> None:
    """A track point that stands where none may is told."""
    packet = read_text(tmp_path, f'{ROOT}<trkpt lat="1" lon="2"></trkpt><trkpt lat="1" lon="2"/></gpx>')
    assert [(p.count, p.severity) for p in packet.problems] == [(2, "skipped")]


def test_xml_that_is_no_gpx_is_told(tmp_path: Path) -> None:
    """Well-formed XML of another kind is named as that."""
    with pytest.raises(NotThisFormatError, match="root element is 'rte', not 'gpx'"):
        read_text(tmp_path, "<rte><gpx/></rte>")
    with pytest.raises(NotThisFormatError, match="XML, but not GPX"):
        read_text(tmp_path, "<other/>")


def write_long(folder: Path, count: int) -> Path:
    times = np.datetime_as_string(np.datetime64("2026-08-14T00:00:00") + np.arange(count))
    points = "".join(
        f'<trkpt lat="{44 + n / 1e5:.5f}" lon="-114.2"><ele>{n}</ele><time>{times[n]}Z</time></trkpt>\n'
        for n in range(count)
    )
    spots = "".join(f'<wpt lat="44.5" lon="-114.2"><name>Spot {n}</name></wpt>\n' for n in range(count))
    half = points.index("<trkpt", len(points) // 2)
    path = folder / "long.gpx"
    track = f"<trk><name>edge</name><trkseg>{points[:half]}</trkseg><trkseg>{points[half:]}</trkseg></trk>"
    path.write_text(f"{ROOT}{spots}{track}</gpx>")
    return path


def test_long_files_come_in_batches(tmp_path: Path) -> None:
    """Batches hold about as many rows as asked for; joined, they are one track with its segments and numbers."""
    path = write_long(tmp_path, 3000)
    options = ReadOptions(batch_rows=500)
    batches = list(read_gpx(InputFile(path, "long.gpx"), options, block_bytes=8192))
    assert max(sum(map(len, batch.tracks)) + len(batch.detections) for batch in batches) < 700
    whole = Packet.join(batches)
    (track,) = whole.tracks
    assert (len(track), track.name, track.segment.max()) == (3000, "edge", 1)
    assert track.source[2999].record == 3000
    assert len(whole.detections) == 3000
    assert whole == read_file(path)


def test_scanned_and_parsed_long_files_are_the_same(tmp_path: Path) -> None:
    """Over many blocks, with an oddity in the midst, both ways give the same."""
    path = write_long(tmp_path, 2000)
    text = path.read_text()
    for odd in ("<!-- c -->", '<trkpt lat="1" lon="2"><name>a &amp; b</name></trkpt>', "<trkpt lon='1' lat='2'/>"):
        place = text.index("<trkpt", len(text) * 3 // 4)
        path.write_text(text[:place] + odd + text[place:])
        fast, careful = read_both_ways(path)
        assert fast.differences(careful) == []
        assert fast.problems == careful.problems


@pytest.mark.parametrize(
    ("head", "is_gpx"),
    [
        (b"<gpx>", True),
        (b'\xef\xbb\xbf<?xml version="1.0"?>\n<!-- <a> --><gpx\n version="1.1">', True),
        (b"<!DOCTYPE gpx [<!ENTITY a 'b'>]><gpx>", True),
        ('<?xml version="1.0"?><g:gpx xmlns:g="x">'.encode("utf-16"), True),
        (b"<kml>", False),
        (b"<gpxx>", False),
        (b'{"gpx": "<gpx>"}', False),
        (b"", False),
    ],
)
def test_gpx_is_recognised(head: bytes, is_gpx: bool) -> None:
    """A file is known by its root element, in any encoding."""
    assert GpxFormat().recognise(head) is is_gpx
