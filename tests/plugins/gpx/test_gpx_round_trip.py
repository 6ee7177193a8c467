from __future__ import annotations

import tempfile
from pathlib import Path

import gpxpy
import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from shapely.geometry import Polygon

from exchange.errors import OptionError
from exchange.formats.options import WriteOptions
from exchange.model import Detections, Packet, Perimeter, Places, StatusNotes, Track
from exchange.testing import check_round_trip
from exchange.testing.strategies import packets
from exchange_gpx.format import GpxFormat
from tests.plugins.gpx.gpx_kit import check_schema, read_file, read_text, write_file
from tests.samples import SAMPLES


@pytest.mark.parametrize("version", ["1.1", "1.0"])
@pytest.mark.parametrize("name", SAMPLES)
def test_samples_come_back(name: str, version: str, tmp_path: Path) -> None:
    """Every sample is the same after writing and reading, in both versions."""
    told = check_round_trip(GpxFormat(), SAMPLES[name], tmp_path, write_options=WriteOptions(version=version))
    assert not [problem for problem in told if "no place" in problem.message]


@pytest.mark.parametrize("name", SAMPLES)
def test_samples_are_valid_gpx(name: str, tmp_path: Path) -> None:
    """What is written follows the schema of GPX 1.1 (topografix.com/GPX/1/1/gpx.xsd)."""
    write_file(SAMPLES[name], tmp_path / "out.gpx")
    check_schema(tmp_path / "out.gpx")


@pytest.mark.parametrize("version", ["1.1", "1.0"])
def test_drawn_packets_come_back(version: str) -> None:
    """Any packet, hostile text and typed foreign fields included, is the same after writing and reading."""

    @settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])
    @given(packets())
    def check(packet: Packet) -> None:
        with tempfile.TemporaryDirectory() as folder:
            check_round_trip(GpxFormat(), packet, Path(folder), write_options=WriteOptions(version=version))
            if version == "1.1":
                check_schema(Path(folder) / "round-trip.gpx")

    check()


@pytest.mark.parametrize("version", ["1.1", "1.0"])
def test_another_reader_sees_positions_heights_and_times(version: str, tmp_path: Path) -> None:
    """Another library (gpxpy 1.6) reads from our file the very positions, heights, times and names."""
    packet = SAMPLES["every column of a track"]
    write_file(packet, tmp_path / "out.gpx", version=version)
    read = gpxpy.parse((tmp_path / "out.gpx").read_text())
    (track,) = read.tracks
    points = [point for segment in track.segments for point in segment.points]
    ours = packet.tracks[0]
    assert track.name == "edge"
    assert [len(segment.points) for segment in track.segments] == [2, 2]
    assert [p.longitude for p in points] == ours.longitude.tolist()
    assert [p.latitude for p in points] == ours.latitude.tolist()
    assert [p.elevation for p in points] == [1500.0, 1501.5, 0.0, None]
    assert [np.datetime64(p.time.replace(tzinfo=None), "ms") for p in points] == list(ours.time)


def test_another_reader_sees_hotspots_by_name_or_number(tmp_path: Path) -> None:
    """A handheld shows a spot's name, or its number where it has none; and the note."""
    packet = Packet(
        detections=Detections(
            id=["H-001", "H-002"], name=["stump", ""], note=["hot", ""], longitude=[1, 2], latitude=[3, 4]
        )
    )
    write_file(packet, tmp_path / "out.gpx")
    waypoints = gpxpy.parse((tmp_path / "out.gpx").read_text()).waypoints
    assert [(w.name, w.description) for w in waypoints] == [("stump", "hot"), ("H-002", None)]


def test_a_perimeter_is_a_closed_line_for_any_receiver(tmp_path: Path) -> None:
    """Each ring is a closed segment; the island is one of its own."""
    packet = SAMPLES["every field of a perimeter"]
    write_file(packet, tmp_path / "out.gpx")
    (track,) = gpxpy.parse((tmp_path / "out.gpx").read_text()).tracks
    assert track.name == "Marrow Flat"
    rings = [[(p.longitude, p.latitude) for p in segment.points] for segment in track.segments]
    geometry = packet.perimeters[0].geometry
    assert isinstance(geometry, Polygon)
    assert rings == [list(geometry.exterior.coords), *(list(ring.coords) for ring in geometry.interiors)]


def test_a_perimeter_whose_mark_was_lost_is_a_track(tmp_path: Path) -> None:
    """Where a device drops the extensions, the line is still there."""
    write_file(SAMPLES["a perimeter"], tmp_path / "out.gpx")
    text = (tmp_path / "out.gpx").read_text().replace("urn:hotspot-exchange:1", "urn:dropped")
    packet = read_text(tmp_path, text)
    assert [len(track) for track in packet.tracks] == [5]


def test_longitude_180_is_lawful_and_exact(tmp_path: Path) -> None:
    """GPX 1.1 wants longitudes below 180: the meridian is written as -180 and read back as it was."""
    packet = Packet(tracks=(Track(longitude=[179.5, 180.0, -180.0], latitude=[1, 2, 3]),))
    write_file(packet, tmp_path / "out.gpx")
    points = gpxpy.parse((tmp_path / "out.gpx").read_text()).tracks[0].segments[0].points
    assert [p.longitude for p in points] == [179.5, -180.0, -180.0]
    assert read_file(tmp_path / "out.gpx") == packet
    check_schema(tmp_path / "out.gpx")


def test_fixes_off_the_earth_are_counted(tmp_path: Path) -> None:
    """A fix at latitude 120 is never written; the loss is told."""
    packet = Packet(tracks=(Track(longitude=[1.0, 2.0, np.inf], latitude=[120.0, 2.0, 3.0]),))
    (problem,) = write_file(packet, tmp_path / "out.gpx")
    assert (problem.severity, problem.count) == ("skipped", 2)
    assert 'lat="120' not in (tmp_path / "out.gpx").read_text()
    check_schema(tmp_path / "out.gpx")


def test_a_perimeter_off_the_earth_is_told_both_ways_and_never_taken(tmp_path: Path) -> None:
    """No line of it can be shown, and what is read of it would lead crews off the map."""
    packet = Packet(perimeters=(Perimeter(geometry=Polygon([(0, 89), (1, 91), (2, 89)])),))
    (problem,) = write_file(packet, tmp_path / "out.gpx")
    assert "not on the earth" in problem.message
    returned = read_file(tmp_path / "out.gpx")
    assert returned.perimeters == ()
    assert [p.message for p in returned.problems] == ["an edge leaves the earth; the polygon is left out"]


@pytest.mark.parametrize("version", ["1.1", "1.0"])
def test_rows_without_a_position_keep_their_place(version: str, tmp_path: Path) -> None:
    """Notes and spots that have no place on the map stand between the others as before; in 1.0 they are told."""
    longitude = [np.nan, 1.0, np.nan, np.nan, 2.0, 3.0, np.nan]
    detections = Detections(id=[f"H-{n}" for n in range(7)], longitude=longitude, latitude=longitude)
    packet = Packet(detections=detections, notes=StatusNotes(detection=["H-1"], text=["out"]))
    told = write_file(packet, tmp_path / "out.gpx", version=version)
    read = read_file(tmp_path / "out.gpx", batch_rows=1)
    if version == "1.1":
        assert not told
        assert read == packet
    else:
        assert [(p.severity, p.count) for p in told] == [("changed", 3)]
        assert sorted(read.detections.id) == sorted(detections.id)


def test_routes_go_back_out_as_routes_in_their_place(tmp_path: Path) -> None:
    """A route read as a track is written as a route, and the order of all tracks stays."""
    line = Track(longitude=[1.0, 2.0], latitude=[1.0, 2.0], segment=[0, 1])
    routed = {"gpx_form": "route", "colour": "red"}
    tracks = (line.replace(name="a"), line.replace(name="b", properties=routed), line.replace(name="c"))
    packet = Packet(tracks=(*tracks, line.replace(name="d", properties=routed)))
    write_file(packet, tmp_path / "out.gpx")
    read = gpxpy.parse((tmp_path / "out.gpx").read_text())
    assert ([r.name for r in read.routes], [t.name for t in read.tracks]) == (["b", "d"], ["a", "c"])
    assert read_file(tmp_path / "out.gpx") == packet
    assert read_file(tmp_path / "out.gpx", batch_rows=1) == packet
    check_schema(tmp_path / "out.gpx")


def test_texts_that_fit_no_element_are_kept_beside(tmp_path: Path) -> None:
    """A fix type, a satellite count or a link that the schema refuses travels as a field and comes back."""
    extra = {
        "fix": ["3d", "RTK"],
        "sat": ["12", "many"],
        "hdop": ["0.9", "1e-3"],
        "link": ["p/1.jpg", "a b\\c"],
        "link_text": ["photo", "x"],
        "dgpsid": ["1023", "1024"],
        "magvar": ["359.9", "360"],
        "sym": ["Flag", "]]>"],
    }
    packet = Packet(places=Places(name=["a", "b"], longitude=[1, 2], latitude=[1, 2], extra=extra))
    write_file(packet, tmp_path / "out.gpx")
    check_schema(tmp_path / "out.gpx")
    assert read_file(tmp_path / "out.gpx") == packet
    first = gpxpy.parse((tmp_path / "out.gpx").read_text()).waypoints[0]
    assert (first.type_of_gpx_fix, first.satellites, first.link, first.link_text) == ("3d", 12, "p/1.jpg", "photo")


@pytest.mark.parametrize(
    "text",
    [
        "<b>",
        "</x:f>",
        "<a/>",
        '<a xmlns="urn:a"/>',
        '<a xmlns="urn:a"></a> ',
        "<!-- -->",
        "plain",
        '<f xmlns="urn:hotspot-exchange:1" n="x">1</f>',
    ],
)
def test_texts_that_only_look_like_extensions_are_text(text: str, tmp_path: Path) -> None:
    """A foreign field named 'extensions' that is no canonical foreign element is kept as the text it is."""
    lawful = '<a xmlns="urn:a">1</a>'
    extra = {"extensions": [lawful, text]}
    packet = Packet(places=Places(name=["a", "b"], longitude=[1, 2], latitude=[1, 2], extra=extra))
    told = write_file(packet, tmp_path / "out.gpx")
    check_schema(tmp_path / "out.gpx")
    assert read_file(tmp_path / "out.gpx") == packet
    assert [problem.count for problem in told] == [1]


def test_the_incident_and_a_title_come_back_apart(tmp_path: Path) -> None:
    """The title is for other programs; the incident's name is read back whatever the title."""
    packet = Packet(incident="Marrow Flat")
    write_file(packet, tmp_path / "out.gpx", title="Night 2")
    assert gpxpy.parse((tmp_path / "out.gpx").read_text()).name == "Night 2"
    assert read_file(tmp_path / "out.gpx") == packet


def test_attached_files_travel(tmp_path: Path) -> None:
    """Files carried along come back byte by byte; those that only look like metadata are files."""
    packet = Packet(attachments={"icons/hot.png": bytes(range(256)), "gpx/metadata/name-0.xml": b"<name/>"})
    write_file(packet, tmp_path / "out.gpx")
    assert read_file(tmp_path / "out.gpx") == packet


def test_an_unknown_version_is_refused(tmp_path: Path) -> None:
    """Only the two published versions are written."""
    with pytest.raises(OptionError, match=r"no version '2.0'(?s:.*)1.0, 1.1"):
        write_file(Packet(), tmp_path / "out.gpx", version="2.0")
