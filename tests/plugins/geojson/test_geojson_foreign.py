"""What strangers write: nothing of it is lost, and what is not carried on is told."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pyproj
import pytest

from exchange.errors import AmbiguityError, OptionError
from exchange.formats.options import ReadOptions
from exchange.formats.positions import POSITION_TEXT
from exchange.formats.reading import read
from exchange.formats.writing import write
from exchange.model import Packet
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

VALID = FIXTURES / "valid"


def test_ids_keep_their_kind_and_nested_values_their_shape() -> None:
    """A whole number stays one beside a text of the same digits; `007` stays text, 2.0 no whole number."""
    packet = read_file(VALID / "nested_values_and_ids.geojson")
    ids = packet.detections.extra.get("id", packet.detections.id)
    assert [str(value) for value in ids] == ["7", "7"]
    first = packet.detections.row(0).extra
    assert first["code"] == "007"
    assert first["deep"] == {"a": [1, 2.0, {"b": None}]}
    assert [type(value) for value in first["deep"]["a"][:2]] == [int, float]
    assert first["tags"] == ["log", "root"]


def test_members_beside_the_properties_are_kept() -> None:
    """A member of the feature or of its geometry becomes a foreign field; one of the collection is told."""
    packet = read_file(VALID / "foreign_members.geojson")
    extra = packet.detections.row(0).extra
    assert extra["member.title"] == "beside the properties"
    assert extra["member.geometry.remark"] == "in the geometry"
    assert [(p.field, p.value) for p in packet.problems if "whole collection" in p.message] == [
        ("generator", "by hand")
    ]


def test_every_kind_of_geometry_finds_its_place() -> None:
    """Points and multipoints become rows, lines tracks, polygons perimeters, collections their parts."""
    packet = read_file(VALID / "every_geometry.geojson")
    assert packet.counts() == {"tracks": 3, "fixes": 8, "perimeters": 2, "detections": 5, "notes": 0, "places": 0}
    assert packet.tracks[1].segment.tolist() == [0, 0, 1, 1]
    assert packet.detections.source.record.tolist() == [1, 2, 2, 7, 8]
    assert packet.detections.has_position().tolist() == [True] * 4 + [False]
    assert packet.detections.name.tolist() == ["", "two stumps", "two stumps", "mixed", "nowhere"]


def test_a_geometry_that_cannot_be_used_is_kept_and_told() -> None:
    """Nothing of a broken geometry is lost: it stays as a foreign field of a row without a position."""
    packet = read_file(VALID / "geometries_that_are_none.geojson")
    kept = packet.detections.extra["geometry"]
    assert kept[0] == {"type": "Circle", "coordinates": [0, 0], "radius": 5}
    assert kept[4] == "Point"
    assert sum(problem.severity == "skipped" for problem in packet.problems) == 5


def test_times_of_each_position_become_the_times_of_the_fixes() -> None:
    """An array as long as the line is a column of the track: its times, speeds, whatever it is called."""
    track = read_file(VALID / "line_with_times.geojson").tracks[0]
    assert track.time.astype("M8[ms]").tolist() == np.array(
        ["2026-08-14T19:03:05", "2026-08-14T19:03:06", "2026-08-14T19:03:07.500"], "M8[ms]"
    ).tolist()  # fmt: skip
    assert track.altitude.tolist() == [1500.0, 1501.5, 1503.0]
    assert track.extra["speed_kt"].tolist() == [60.5, 61.0, 61.5]
    assert (track.name, track.aircraft) == ("sortie 2", "N0 invented")


def test_times_of_each_of_several_lines_are_laid_end_to_end() -> None:
    """One array a line fits several lines."""
    track = read_file(VALID / "lines_with_times_of_each.geojson").tracks[0]
    assert track.segment.tolist() == [0, 0, 1, 1, 1]
    assert not np.isnat(track.time).any()
    assert track.time[2] == np.datetime64("2026-08-14T19:13:05")


def test_arrays_that_do_not_fit_stay_properties() -> None:
    """An array of another length is no column."""
    track = read_file(VALID / "line_with_arrays_that_do_not_fit.geojson").tracks[0]
    assert np.isnat(track.time).all()
    assert track.properties == {"times": ["2026-08-14T19:03:05Z"], "range": [1, 2]}


@pytest.mark.parametrize("name", ["old_crs_utm_11", "old_crs_code", "old_crs_behind_the_features"])
def test_an_old_crs_member_is_honoured(name: str) -> None:
    """Easting and northing come out within a millimetre of where PROJ puts them on WGS 84, and it is told."""
    packet = read_file(VALID / f"{name}.geojson")
    way = pyproj.Transformer.from_crs("EPSG:32611", "EPSG:4326", always_xy=True)
    expected = way.transform(720000.0, 4931000.0)
    found = (packet.detections.longitude[0], packet.detections.latitude[0])
    assert found == pytest.approx(expected, abs=1e-8)
    assert any("to WGS 84" in message for message in told(packet))


def test_an_unknown_crs_is_refused_until_one_is_stated() -> None:
    """With --crs the file reads: it is in longitude and latitude then."""
    packet = read_file(FIXTURES / "invalid" / "old_crs_unknown.geojson", crs="EPSG:4326")
    assert packet.detections.longitude[0] == -114.2


def test_a_wrong_crs_option_is_refused(tmp_path: Path) -> None:
    """What names no system is not guessed."""
    with pytest.raises(AmbiguityError, match="'EPSG:1' is no known coordinate reference system"):
        read_value(tmp_path, collection(feature(point(1, 2))), crs="EPSG:1")


def test_the_axis_order_of_an_authority_changes_nothing(tmp_path: Path) -> None:
    """EPSG:4326 names latitude first, GeoJSON of 2008 (§3) x first; that it was read so is told, and can be turned."""
    crs = {"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::4326"}}
    packet = read_value(tmp_path, collection(feature(point(-114.2, 44.5)), crs=crs))
    assert (packet.detections.longitude[0], packet.detections.latitude[0]) == (-114.2, 44.5)
    assert any("longitude, latitude" in message for message in told(packet))
    turned = read_value(tmp_path, collection(feature(point(44.5, -114.2)), crs=crs), position_order="lat-lon")
    assert turned.detections == packet.detections


def test_a_position_outside_of_the_projection_is_kept_as_text(tmp_path: Path) -> None:
    """Metres that no projection can place become no position, and no degrees."""
    crs = {"type": "name", "properties": {"name": "EPSG:32611"}}
    packet = read_value(tmp_path, collection(feature(point(1e30, 4931000.0)), crs=crs))
    assert not packet.detections.has_position().any()
    assert packet.detections.extra[POSITION_TEXT][0] == "1e+30 4931000.0"
    assert any("outside of what" in problem.message for problem in packet.problems)


def test_metres_without_a_crs_are_never_taken_for_degrees(tmp_path: Path) -> None:
    """They are off the earth: no position, the text kept, told."""
    packet = read_value(tmp_path, collection(feature(point(720000.0, 4931000.0))))
    assert not packet.detections.has_position().any()
    assert packet.detections.extra[POSITION_TEXT][0] == "720000.0 4931000.0"


def test_a_fourth_number_is_kept() -> None:
    """RFC 7946 §3.1.1 advises against more than three numbers, and says that meaning may be lost: here it is not."""
    packet = read_file(VALID / "positions_as_text_and_worse.geojson")
    assert packet.detections.extra["coordinate_4"][5] == 3.5
    assert packet.detections.has_position().tolist() == [True, False, False, False, False, True]
    assert packet.detections.extra[POSITION_TEXT].tolist() == ["", "[-114.2]", "[-114.2,null]", "", "[true,false]", ""]


def test_a_whole_number_beyond_64_bits_is_not_rounded(tmp_path: Path) -> None:
    """It comes in as it stands, and goes out again so."""
    packet = read_file(VALID / "huge_whole_number.geojson")
    assert packet.detections.extra["serial"][0] == 18446744073709551617
    assert write_value(tmp_path, packet)["features"][0]["properties"]["serial"] == 18446744073709551617


def test_repairs_name_their_record_and_their_field() -> None:
    """A name given twice, a constant that is no JSON, half a character: each is told with its place."""
    names = ("names_given_twice", "nan_and_infinity", "half_a_surrogate_pair")
    problems = [p for name in names for p in read_file(VALID / f"{name}.geojson").problems if p.severity == "changed"]
    assert {problem.record for problem in problems} == {1}
    assert ("name", "first") in {(problem.field, problem.value) for problem in problems}
    assert sum(problem.count for problem in problems) == 5


def test_one_object_a_line_is_told_and_read() -> None:
    """Lines without record separators are no text sequence of the standard, but are understood."""
    packet = read_file(VALID / "one_a_line.geojsonl")
    assert packet.detections.name.tolist() == ["spot 0", "spot 1", "spot 2"]
    assert any("record separators" in message for message in told(packet))


@pytest.mark.parametrize("rows", [1, 2, 7, 1000])
@pytest.mark.parametrize(
    "name", ["every_geometry.geojson", "mixed_objects.geojsons", "positions_as_text_and_worse.geojson"]
)
def test_the_size_of_the_batches_changes_nothing(name: str, rows: int) -> None:
    """One row at a time or all at once: the same model."""
    assert read_file(VALID / name, batch_rows=rows) == read_file(VALID / name)


def test_a_stated_encoding_is_used(tmp_path: Path) -> None:
    """A file of another encoding reads when the encoding is stated."""
    packet = read_file(FIXTURES / "invalid" / "windows_1252.geojson", encoding="windows-1252")
    assert packet.detections.name[0] == "Kiefernhöhe"


def test_a_track_drawn_anew_after_it_was_written_keeps_its_old_values_and_tells(tmp_path: Path) -> None:
    """A line that lost a vertex in other hands is no longer fitted to the wrong times."""
    value = collection(
        feature(
            {"type": "LineString", "coordinates": [[0, 0], [1, 1], [2, 2]]},
            {"exchange": "track", "name": "A", "fixes": {"time": ["2026-08-14T19:03:05Z"] * 4}},
        )
    )
    packet = read_value(tmp_path, value)
    assert len(packet.tracks[0]) == 3
    assert np.isnat(packet.tracks[0].time).all()
    assert any(problem.severity == "changed" and "no longer fit" in problem.message for problem in packet.problems)


def test_a_long_track_is_written_in_pieces_and_read_as_one(tmp_path: Path) -> None:
    """More than 65,536 fixes become several features; reading them a batch at a time joins them again."""
    from exchange.model import Track

    count = 70_001
    track = Track(
        name="long",
        longitude=np.linspace(-114, -113, count),
        latitude=np.linspace(44, 45, count),
        altitude=np.full(count, 1500.5),
        time=np.datetime64("2026-08-14T19:03:05", "ms") + np.arange(count) * 100,
        segment=np.arange(count) // 25_000,
    )
    path = tmp_path / "long.geojson"
    write(Packet(tracks=(track, track)), path, host=HOST)
    assert read_file(path).tracks == (track, track)
    assert len(json.loads(path.read_bytes())["features"]) == 4


def test_a_feature_that_only_claims_to_be_ours_is_read_like_a_stranger(tmp_path: Path) -> None:
    """The mark on a geometry that cannot be it counts for nothing, and stays a property."""
    claimed: list[Any] = [
        feature({"type": "LineString", "coordinates": [[0, 0], [1, 1]]}, {"exchange": "detection"}),
        feature(point(1, 2), {"exchange": "perimeter"}),
        feature(point(1, 2), {"exchange": ["detection"]}),
    ]
    packet = read_value(tmp_path, collection(*claimed))
    assert packet.counts()["tracks"] == 1
    assert packet.tracks[0].properties == {"exchange": "detection"}
    assert packet.detections.extra["exchange"].tolist() == ["perimeter", ["detection"]]


def test_what_is_no_geojson_is_not_recognised() -> None:
    """JSON of another kind, text and binary are left to others."""
    for head in (b"", b"{}", b'{"type":"Topology"}', b"\x89PNG", b"<gpx/>", b'[{"type":"Feature"}]', b"type Feature"):
        assert not any(fmt.recognise(head) for fmt in HOST.formats.values())


def test_a_sequence_and_a_collection_are_told_apart(tmp_path: Path) -> None:
    """A sequence under the name of a collection is read as what it is."""
    line = json.dumps(feature(point(1, 2), {"name": "x"}))
    packet = read_text(tmp_path, f"{line}\n{line}\n", name="lines.geojson")
    assert packet.detections.name.tolist() == ["x", "x"]


def test_what_is_said_of_crs_is_what_was_done(tmp_path: Path) -> None:
    """A system the file names but nobody knows gives way to the option, and is not said to have stood."""
    path = tmp_path / "own_grid.geojson"
    crs = {"type": "name", "properties": {"name": "a grid of our own"}}
    geometry = {"type": "Point", "coordinates": [323483.168, 4306479.498]}
    feature = {"type": "Feature", "properties": {}, "geometry": geometry}
    path.write_text(json.dumps({"type": "FeatureCollection", "crs": crs, "features": [feature]}))
    packet = read(path, options=ReadOptions(crs="EPSG:26918"))
    # Washington Monument, NAD 83: FGDC-STD-011-2001, Annex B.
    assert packet.detections.row(0).longitude == pytest.approx(-77.03524022, abs=2e-8)
    told = [problem.message for problem in packet.problems if "--crs" in problem.message]
    assert told == ["the file states a grid of our own, which is not known; --crs was used"]


def test_the_only_layer_is_the_name_of_the_collection(tmp_path: Path) -> None:
    """It may be asked for; another is refused, and where the collection has no name every one is."""
    text = json.dumps({"type": "FeatureCollection", "name": "spots", "features": [feature(point(1.0, 2.0))]})
    assert len(read_text(tmp_path, text, layers=("spots",)).detections) == 1
    with pytest.raises(OptionError, match=r"no layer 'nosuch'\n.*: 'spots'"):
        read_text(tmp_path, text, layers=("nosuch",))
    with pytest.raises(OptionError, match=r"no layer 'spots'\n.*no layers"):
        read_text(tmp_path, text.replace('"name": "spots", ', ""), layers=("spots",))
