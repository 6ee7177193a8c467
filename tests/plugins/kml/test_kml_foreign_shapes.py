from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from exchange_kml import geometry
from tests.plugins.kml.kit import messages, read_text, wrap


def ring(text: str) -> str:
    return f"<LinearRing><coordinates>{text}</coordinates></LinearRing>"


def polygon(outer: str, *holes: str) -> str:
    inner = "".join(f"<innerBoundaryIs>{ring(hole)}</innerBoundaryIs>" for hole in holes)
    return f"<Polygon><outerBoundaryIs>{ring(outer)}</outerBoundaryIs>{inner}</Polygon>"


def placemark(shape: str, inner: str = "") -> str:
    return f"<Placemark>{inner}{shape}</Placemark>"


SQUARE, HOLE = "0,0 4,0 4,4 0,4 0,0", "1,1 1,2 2,2 2,1 1,1"


def test_polygons_become_perimeters(tmp_path: Path) -> None:
    """A polygon with an island is one perimeter; its name and time are taken, other fields kept typed."""
    inner = (
        "<name>morning</name><TimeStamp><when>2026-08-14T20:00:00Z</when></TimeStamp>"
        '<ExtendedData><Data name="crew"><value>007</value></Data></ExtendedData>'
    )
    (perimeter,) = read_text(tmp_path, wrap(placemark(polygon(SQUARE, HOLE), inner))).perimeters
    assert perimeter.geometry.area == 15.0
    assert perimeter.name == "morning"
    assert perimeter.as_of == np.datetime64("2026-08-14T20:00")
    assert perimeter.extra == {"crew": "007"}


def test_several_polygons_are_one_perimeter(tmp_path: Path) -> None:
    """A multi-geometry of polygons is one perimeter of several parts; a label point in it is a row of its own."""
    shapes = polygon(SQUARE) + polygon("9,9 10,9 10,10 9,9") + "<Point><coordinates>2,2</coordinates></Point>"
    packet = read_text(tmp_path, wrap(placemark(f"<MultiGeometry>{shapes}</MultiGeometry>")))
    assert packet.perimeters[0].geometry.geom_type == "MultiPolygon"
    assert len(packet.detections) == 1


@pytest.mark.parametrize(
    ("shape", "fault", "severity", "count"),
    [
        (polygon("0,0 4,0 4,4 0,4"), geometry.OPEN_RING, "changed", 1),
        (polygon(SQUARE, "1,1 2,2"), geometry.SHORT_RING, "skipped", 1),
        (polygon("0,0 1,1"), geometry.NO_OUTER, "skipped", 0),
        ("<Polygon/>", geometry.NO_OUTER, "skipped", 0),
        (polygon("44,-114 45,-114 45,-115 44,-114"), geometry.SWAPPED, "skipped", 0),
        (polygon("0,0 999,0 0,999 0,0"), geometry.OFF_EARTH, "skipped", 0),
        (polygon("0,0,9 4,0,9 4,4,9 0,0,9"), geometry.HEIGHTS, "note", 1),
    ],
)
def test_broken_polygons_are_repaired_or_left_out_and_told(
    shape: str, fault: str, severity: str, count: int, tmp_path: Path
) -> None:
    """An open ring is closed, a ring of two corners left out, a polygon off the earth refused; each is told."""
    packet = read_text(tmp_path, wrap(placemark(shape)))
    assert fault in messages(packet, severity)
    assert len(packet.perimeters) == count
    assert all(p.geometry.is_valid for p in packet.perimeters)


def test_lines_become_tracks(tmp_path: Path) -> None:
    """A line is a track without times; several lines of a placemark are its segments; heights go by the mode."""
    lines = (
        "<LineString><altitudeMode>absolute</altitudeMode><coordinates>1,2,30 3,4,40</coordinates></LineString>"
        "<LineString><altitudeMode>relativeToGround</altitudeMode><coordinates>5,6,7 8,9,10</coordinates></LineString>"
    )
    inner = "<name>edge</name><description>walked</description>"
    (track,) = read_text(tmp_path, wrap(placemark(f"<MultiGeometry>{lines}</MultiGeometry>", inner))).tracks
    assert (track.name, track.segment.tolist(), track.number) == ("edge", [0, 0, 1, 1], 1)
    assert np.array_equal(track.altitude, [30, 40, np.nan, np.nan], equal_nan=True)
    assert np.array_equal(track.height, [np.nan, np.nan, 7, 10], equal_nan=True)
    assert track.height_reference == "ground"
    assert track.properties["description"] == "walked"


def test_a_long_line_and_a_broken_one(tmp_path: Path) -> None:
    """A position that is none is left out of a line and counted; the others stand."""
    packet = read_text(tmp_path, wrap(placemark("<LineString><coordinates>1,2 3 x,y 5,6</coordinates></LineString>")))
    assert packet.tracks[0].longitude.tolist() == [1.0, 5.0]
    assert [p.count for p in packet.problems if "left out" in p.message] == [2]


def gx_track(times: list[str], coords: list[str], rest: str = "", mode: str = "absolute") -> str:
    whens = "".join(f"<when>{time}</when>" for time in times)
    places = "".join(f"<gx:coord>{coord}</gx:coord>" for coord in coords)
    return f"<gx:Track><altitudeMode>{mode}</altitudeMode>{whens}{places}{rest}</gx:Track>"


TIMES = [f"2026-08-14T19:03:0{n}Z" for n in range(3)]
COORDS = ["1 2 30", "3 4 40", "5 6 50"]


def test_a_track_keeps_its_times_angles_and_columns(tmp_path: Path) -> None:
    """Per-point times, angles and typed columns of a gx:Track are columns of the track."""
    fields = "".join(
        f'<gx:SimpleArrayField name="{name}" type="{kind}"/>' for name, kind in (("battery", "float"), ("sats", "int"))
    )
    schema = f'<Schema id="t">{fields}</Schema>'
    arrays = "".join(
        f'<gx:SimpleArrayData name="{name}">{"".join(f"<gx:value>{v}</gx:value>" for v in values)}</gx:SimpleArrayData>'
        for name, values in {"battery": (0.9, 0.8, 0.7), "sats": (7, 8, 9)}.items()
    )
    rest = "".join(f"<gx:angles>{angle} 10 0</gx:angles>" for angle in (0, 90, 180))
    rest += f'<ExtendedData><SchemaData schemaUrl="#t">{arrays}</SchemaData></ExtendedData>'
    (track,) = read_text(tmp_path, wrap(placemark(gx_track(TIMES, COORDS, rest)), head=schema)).tracks
    assert [str(time) for time in track.time.astype("M8[s]")] == [time[:-1] for time in TIMES]
    assert track.altitude.tolist() == [30.0, 40.0, 50.0]
    assert track.heading.tolist() == [0.0, 90.0, 180.0]
    assert track.extra["tilt"].tolist() == [10.0, 10.0, 10.0]
    assert track.extra["battery"].tolist() == [0.9, 0.8, 0.7]
    assert track.extra["sats"].dtype == np.int64


def test_the_tracks_of_a_multi_track_are_segments(tmp_path: Path) -> None:
    """Each track of a gx:MultiTrack is a segment of one track."""
    tracks = gx_track(TIMES[:2], COORDS[:2]) + gx_track(TIMES[2:], COORDS[2:], mode="relativeToGround")
    (track,) = read_text(tmp_path, wrap(placemark(f"<gx:MultiTrack>{tracks}</gx:MultiTrack>"))).tracks
    assert track.segment.tolist() == [0, 0, 1]
    assert np.array_equal(track.height, [np.nan, np.nan, 50.0], equal_nan=True)


@pytest.mark.parametrize(
    ("times", "coords", "told"),
    [
        (TIMES[:2], COORDS, "fewer times than positions"),
        (TIMES, COORDS[:2], "more times than positions"),
        (["2026-08-14T19:03:05", *TIMES[1:]], COORDS, "carries no zone"),
        (["noon", *TIMES[1:]], COORDS, "no time that can be read"),
        (TIMES, ["1 2 3", "x y z", "5 6 7"], "is not three numbers"),
        (TIMES, ["1 2 3", "1e1 2 3", "5 6 7"], "exponent"),
    ],
)
def test_broken_tracks_are_told(times: list[str], coords: list[str], told: str, tmp_path: Path) -> None:
    """Missing, surplus and unreadable times and positions are counted; every fix that stands is kept."""
    packet = read_text(tmp_path, wrap(placemark(gx_track(times, coords))))
    assert len(packet.tracks[0]) == len(coords)
    assert any(told in message for message in messages(packet))


def test_an_empty_coord_is_a_missing_fix(tmp_path: Path) -> None:
    """A fix without a position keeps its time (OGC 14-068r2, ATC-147)."""
    (track,) = read_text(tmp_path, wrap(placemark(gx_track(TIMES, ["1 2 3", "", "5 6 7"])))).tracks
    assert np.isnan(track.longitude).tolist() == [False, True, False]
    assert not np.isnat(track.time).any()


def test_a_naive_and_an_offset_time_are_never_mixed(tmp_path: Path) -> None:
    """A time without a zone stays missing beside one with an offset, until the zone is stated."""
    shape = placemark(gx_track(["2026-08-14T12:00:00-07:00", "2026-08-14T12:00:01", TIMES[2]], COORDS))
    (track,) = read_text(tmp_path, wrap(shape)).tracks
    assert np.isnat(track.time).tolist() == [False, True, False]
    assert track.extra["time_text"].tolist() == ["", "2026-08-14T12:00:01", ""]
    (zoned,) = read_text(tmp_path, wrap(shape), assume_timezone="-07:00").tracks
    assert zoned.time[1] - zoned.time[0] == np.timedelta64(1, "s")


def test_tracks_of_one_layer_are_counted(tmp_path: Path) -> None:
    """Tracks carry their number within their layer, so that pieces of one are never joined to another."""
    packet = read_text(tmp_path, wrap(placemark(gx_track(TIMES, COORDS)) * 2), batch_rows=1)
    assert [track.number for track in packet.tracks] == [1, 2]


def test_a_model_is_told(tmp_path: Path) -> None:
    """A three-dimensional model holds nothing the trade exchanges, and says so."""
    packet = read_text(tmp_path, wrap(placemark("<Model><Link/></Model>")))
    assert "a Model holds nothing that can be taken; it is left out" in messages(packet, "skipped")
