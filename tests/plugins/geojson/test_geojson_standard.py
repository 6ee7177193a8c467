"""RFC 7946, RFC 8142 and RFC 3339 by their own examples."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from shapely.geometry import LinearRing, Polygon, shape

from exchange.formats.writing import write
from exchange.model import Detections, Packet, Perimeter, Track
from tests.plugins.geojson.geojson_kit import (
    FIXTURES,
    HOST,
    collection,
    feature,
    point,
    read_file,
    read_text,
    read_value,
    told,
    write_value,
)


def test_the_example_of_section_1_5_is_read() -> None:
    """RFC 7946 §1.5: a point, a line and a polygon with their properties."""
    packet = read_file(FIXTURES / "valid" / "rfc_7946_section_1_5.geojson")
    spot = packet.detections.row(0)
    assert (spot.longitude, spot.latitude, spot.extra) == (102.0, 0.5, {"prop0": "value0"})
    assert packet.tracks[0].longitude.tolist() == [102.0, 103.0, 104.0, 105.0]
    assert packet.tracks[0].latitude.tolist() == [0.0, 1.0, 0.0, 1.0]
    assert packet.tracks[0].properties == {"prop0": "value0", "prop1": 0.0}
    assert packet.perimeters[0].geometry.equals(Polygon([(100, 0), (101, 0), (101, 1), (100, 1)]))
    assert packet.perimeters[0].extra == {"prop0": "value0", "prop1": {"this": "that"}}


def test_a_line_across_the_180th_meridian_is_cut_as_in_section_3_1_9(tmp_path: Path) -> None:
    """RFC 7946 §3.1.9: from 45N 170E to 45N 170W, exactly these two parts; and it comes back as it was."""
    track = Track(longitude=[170.0, -170.0], latitude=[45.0, 45.0])
    written = write_value(tmp_path, Packet(tracks=(track,)))["features"][0]["geometry"]
    assert written == {"type": "MultiLineString", "coordinates": [[[170, 45], [180, 45]], [[-180, 45], [-170, 45]]]}
    assert read_file(tmp_path / "written.geojson").tracks == (track,)


def test_a_polygon_across_the_180th_meridian_is_cut_as_in_section_3_1_9(tmp_path: Path) -> None:
    """RFC 7946 §3.1.9: 40N to 50N, 170E to 170W, exactly these two parts; and it comes back as it was."""
    area = Perimeter(geometry=Polygon([(170, 40), (-170, 40), (-170, 50), (170, 50), (170, 40)]))
    written = write_value(tmp_path, Packet(perimeters=(area,)))["features"][0]["geometry"]
    expected = {
        "type": "MultiPolygon",
        "coordinates": [
            [[[180.0, 40.0], [180.0, 50.0], [170.0, 50.0], [170.0, 40.0], [180.0, 40.0]]],
            [[[-170.0, 40.0], [-170.0, 50.0], [-180.0, 50.0], [-180.0, 40.0], [-170.0, 40.0]]],
        ],
    }
    assert written["type"] == "MultiPolygon"
    assert shape(written).equals_exact(shape(expected), 0.0, normalize=True)
    assert read_file(tmp_path / "written.geojson").perimeters == (area,)


def test_rings_are_wound_by_the_right_hand_rule(tmp_path: Path) -> None:
    """RFC 7946 §3.1.6: exteriors counter-clockwise, holes clockwise, closed, whatever way the model holds them."""
    hole = [(0.2, 0.2), (0.8, 0.2), (0.8, 0.8), (0.2, 0.2)]
    area = Polygon([(0, 0), (0, 1), (1, 1), (1, 0), (0, 0)], [hole])
    rings = write_value(tmp_path, Packet(perimeters=(Perimeter(geometry=area),)))["features"][0]["geometry"][
        "coordinates"
    ]
    assert [LinearRing(ring).is_ccw for ring in rings] == [True, False]
    assert all(ring[0] == ring[-1] for ring in rings)


def test_a_ring_wound_the_other_way_is_not_refused() -> None:
    """RFC 7946 §3.1.6: a parser should not reject what does not follow the rule."""
    packet = read_file(FIXTURES / "valid" / "polygon_wound_the_other_way_and_open.geojson")
    assert packet.perimeters[0].geometry.area == pytest.approx(0.01)
    assert told(packet) == {"a ring did not end where it starts and was closed": 1}


def test_the_bounding_box_of_fiji_is_five_degrees_wide(tmp_path: Path) -> None:
    """RFC 7946 §5.2: [177, -20, -178, -16], not 355 degrees the other way round."""
    spots = Detections(longitude=[177.0, -178.0], latitude=[-20.0, -16.0])
    assert write_value(tmp_path, Packet(detections=spots))["bbox"] == [177, -20, -178, -16]


def test_no_member_of_older_versions_is_written(tmp_path: Path) -> None:
    """RFC 7946 §4: positions are WGS 84, and a `crs` member is not used."""
    assert "crs" not in write_value(tmp_path, Packet(detections=Detections(longitude=[1.0], latitude=[2.0])))


def test_a_sequence_is_written_as_rfc_8142_asks(tmp_path: Path) -> None:
    """RFC 8142 §2: record separator, one object, line feed, for each text."""
    path = tmp_path / "written.geojsons"
    write(Packet(detections=Detections(longitude=[1.0, 2.0], latitude=[2.0, 3.0])), path, host=HOST)
    texts = path.read_bytes().split(b"\x1e")
    assert texts[0] == b""
    assert all(text.endswith(b"\n") and text.count(b"\n") == 1 for text in texts[1:])
    assert [json.loads(text)["type"] for text in texts[1:]] == ["FeatureCollection", "Feature", "Feature"]


def test_a_broken_text_of_a_sequence_does_not_take_the_others_with_it() -> None:
    """RFC 7464 §2.3: what follows the next record separator is read, and the loss is told."""
    packet = read_file(FIXTURES / "valid" / "truncated_text_among_others.geojsons")
    assert packet.detections.name.tolist() == ["spot 0", "spot 2"]
    assert [problem.severity for problem in packet.problems if "left out" in problem.message] == ["skipped"]


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("1985-04-12T23:20:50.52Z", "1985-04-12T23:20:50.520"),
        ("1996-12-19T16:39:57-08:00", "1996-12-20T00:39:57.000"),
        ("1937-01-01T12:00:27.87+00:20", "1937-01-01T11:40:27.870"),
    ],
)
def test_times_of_rfc_3339_are_read(text: str, expected: str, tmp_path: Path) -> None:
    """RFC 3339 §5.8: its examples as times of a spot."""
    packet = read_value(tmp_path, collection(feature(point(1, 2), {"time": text})))
    assert packet.detections.time[0] == np.datetime64(expected)


def test_a_time_without_a_zone_stays_open_until_one_is_stated(tmp_path: Path) -> None:
    """Beside a time with an offset it is not read as one: it stays missing, or takes the stated zone."""
    features = [feature(point(1, 2), {"time": text}) for text in ("2026-08-14T12:03:05", "2026-08-14T12:03:05-07:00")]
    open_times = read_value(tmp_path, collection(*features)).detections.time
    assert np.isnat(open_times).tolist() == [True, False]
    stated = read_value(tmp_path, collection(*features), assume_timezone="-07:00").detections.time
    assert stated[0] == stated[1] == np.datetime64("2026-08-14T19:03:05")


def test_a_third_number_is_a_height_and_told_as_one(tmp_path: Path) -> None:
    """RFC 7946 §3.1.1 means metres above the ellipsoid; it is taken as above sea level, and that is told."""
    packet = read_text(tmp_path, json.dumps(point(1, 2, -3.5)))
    assert packet.detections.altitude.tolist() == [-3.5]
    assert any("mean sea level" in message for message in told(packet))
