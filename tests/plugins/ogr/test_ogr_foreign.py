from __future__ import annotations

import json
import sqlite3
import subprocess
import sys
import zipfile
from pathlib import Path
from typing import Any

import fiona
import numpy as np
import pytest

from exchange.errors import AmbiguityError, MalformedError, OptionError, ReadError, UnsafeInputError, WriteError
from exchange.formats.options import ReadOptions
from exchange.formats.reading import read
from exchange.formats.writing import write
from exchange.model import Detections, Packet, Perimeter
from exchange.testing import host_with
from exchange_ogr.formats import FlatGeobuf, GeoPackage, Shapefile
from tests.samples import SAMPLES

HOST = host_with(FlatGeobuf(), GeoPackage(), Shapefile())
MARROW_FLAT = Path(__file__).parents[3] / "fixtures" / "marrow_flat"

# Washington Monument, UTM 18 E 323483.168 N 4306479.498 (NAD 83), latitude 38.88946731 longitude -77.03524022:
# FGDC-STD-011-2001, Annex B.
MONUMENT_UTM, MONUMENT = (323483.168, 4306479.498), (-77.03524022, 38.88946731)


def _write(
    path: Path, rows: list[tuple[Any, dict[str, Any]]], *, crs: str | None = "EPSG:4326", geometry: str = "Point",
    driver: str = "GPKG", fields: dict[str, str] | None = None, **options: Any,
) -> Path:  # fmt: skip
    schema = {"geometry": geometry, "properties": fields or {}}
    with fiona.open(path, "w", driver=driver, schema=schema, crs=crs, **options) as layer:
        layer.writerecords([{"type": "Feature", "geometry": g, "properties": p} for g, p in rows])
    return path


def _point(*position: float) -> dict[str, Any]:
    return {"type": "Point", "coordinates": position}


def _read(path: Path, **options: Any) -> Packet:
    return read(path, host=HOST, options=ReadOptions(points_as="detections", **options))


def test_nad83_utm_becomes_wgs84(tmp_path: Path) -> None:
    """A published point of the grid standard comes back at its published latitude and longitude."""
    path = _write(tmp_path / "a.gpkg", [(_point(*MONUMENT_UTM), {})], crs="EPSG:26918")
    (row,) = _read(path).detections
    assert (row.longitude, row.latitude) == pytest.approx(MONUMENT, abs=2e-8)


def test_nad27_is_shifted_and_its_accuracy_told(tmp_path: Path) -> None:
    """Clarke's ellipsoid is not the grid's: in the western states the shift is tens of metres, and it is told.

    The size, 40 to 110 m in longitude there, is common practice; the exact grid is not installed with the library.
    """
    path = _write(tmp_path / "a.gpkg", [(_point(-114.2, 44.5), {})], crs="EPSG:4267")
    packet = _read(path)
    (row,) = packet.detections
    shift_m = (row.longitude + 114.2) * 111_320 * np.cos(np.radians(44.5))
    assert -110 < shift_m < -40
    assert any("NAD27" in problem.message and "accuracy" in problem.message for problem in packet.problems)


def test_a_layer_without_a_system_is_refused_until_it_is_stated(tmp_path: Path) -> None:
    """A datum is never guessed: the refusal names the option, and the option is taken."""
    path = _write(tmp_path / "a.shp", [(_point(*MONUMENT_UTM), {"a": 1})], crs=None, driver="ESRI Shapefile",
                  fields={"a": "int"})  # fmt: skip
    with pytest.raises(AmbiguityError, match="states no coordinate reference system") as caught:
        _read(path)
    assert "--crs" in str(caught.value)
    (row,) = _read(path, crs="EPSG:26918").detections
    assert row.longitude == pytest.approx(MONUMENT[0], abs=2e-8)
    with pytest.raises(OptionError, match="names no coordinate reference system"):
        _read(path, crs="EPSG:nonsense")


def test_layers_in_different_systems_are_not_mixed(tmp_path: Path) -> None:
    """Columns of one layer never end up at positions of another, whatever the order of fields and systems."""
    path = tmp_path / "a.gpkg"
    _write(path, [(_point(*MONUMENT_UTM), {"p": 1, "q": "utm"})], crs="EPSG:26918", layer="one",
           fields={"p": "int", "q": "str"})  # fmt: skip
    _write(path, [(_point(*MONUMENT), {"q": "degrees", "p": 2})], layer="two", fields={"q": "str", "p": "int"})
    first, second = _read(path).detections
    assert (first.extra, second.extra) == ({"p": 1, "q": "utm"}, {"p": 2, "q": "degrees"})
    assert first.longitude == pytest.approx(second.longitude, abs=2e-8)
    assert (first.source.layer, second.source.layer) == ("one", "two")
    assert len(_read(path, layers=("two",)).detections) == 1
    with pytest.raises(OptionError, match="no layer 'three'"):
        _read(path, layers=("three",))


def test_heights_types_and_gaps_are_kept(tmp_path: Path) -> None:
    """A 3D point keeps its height, leading zeros stay text, a missing number stays missing."""
    fields = {"code": "str", "whole": "int", "share": "float", "flag": "bool", "seen": "datetime"}
    rows = [
        (_point(1, 2, 1520.5), {"code": "007", "whole": 7, "share": 0.5, "flag": True, "seen": "2026-08-14T01:02:03Z"}),
        (_point(1, 2, 0.0), {"code": "7", "whole": None, "share": None, "flag": None, "seen": None}),
    ]
    detections = _read(_write(tmp_path / "a.gpkg", rows, geometry="3D Point", fields=fields)).detections
    assert detections.altitude.tolist() == [1520.5, 0.0]
    first, second = detections
    assert first.extra["code"] == "007"
    assert (first.extra["whole"], first.extra["flag"]) == (7, True)
    assert first.extra["seen"].isoformat() == "2026-08-14T01:02:03+00:00"
    assert second.extra == {"code": "7"}


def test_times_of_a_zone_are_the_same_instants_and_times_without_one_stay_text(tmp_path: Path) -> None:
    """Whole columns of one zone, of several and of none: no hour is lost, none is guessed."""
    seen = {
        "utc": ["2026-08-14T01:02:03.999+00:00", None],
        "mixed": ["2026-08-14T01:02:03+00:00", "2026-08-13T18:02:03.250-07:00"],
        "bare": ["2026-08-14T01:02:03", "2026-08-14T01:02:04"],
    }
    rows = [(_point(1, 2), {name: values[row] for name, values in seen.items()}) for row in range(2)]
    extra = _read(_write(tmp_path / "a.gpkg", rows, fields=dict.fromkeys(seen, "datetime"))).detections.extra
    assert [str(value) for value in extra["utc"]] == ["2026-08-14T01:02:03.999", "NaT"]
    assert [str(value) for value in extra["mixed"]] == ["2026-08-14T01:02:03.000", "2026-08-14T01:02:03.250"]
    assert extra["bare"].tolist() == seen["bare"]


def test_a_multi_point_among_the_houses_own_points_is_told(tmp_path: Path) -> None:
    """Someone turned a spot of our list into a multi-point: the record is named, its place is not lost in silence."""
    rows = [
        (_point(1, 2), {"exchange": "detection"}),
        ({"type": "MultiPoint", "coordinates": [(1, 2)]}, {"exchange": "detection"}),
    ]
    path = _write(tmp_path / "a.gpkg", rows, geometry="Unknown", fields={"exchange": "str"})
    with pytest.raises(MalformedError, match="a MultiPoint stands where a point must be") as caught:
        _read(path)
    assert caught.value.record == 2


@pytest.mark.parametrize("size", [1, 3, 130, 1000])
def test_the_size_of_a_batch_changes_nothing(size: int, tmp_path: Path) -> None:
    """Rows read a few at a time are the rows read at once, in order, with their record numbers."""
    rows = [(_point(row / 1000, 2), {"frame": row}) for row in range(300)]
    path = _write(tmp_path / "a.gpkg", rows, fields={"frame": "int"})
    detections = _read(path, batch_rows=size).detections
    assert detections == _read(path).detections
    assert detections.source.record.tolist() == list(range(1, 301))
    assert detections.extra["frame"].tolist() == list(range(300))


def test_lines_polygons_and_multi_parts_find_their_place(tmp_path: Path) -> None:
    """Lines become tracks with segments, polygons with holes perimeters, multi-points single rows."""
    lines = {"type": "MultiLineString", "coordinates": [[(0, 0), (1, 1)], [(2, 2), (3, 3), (4, 4)]]}
    ring = [(0, 0), (4, 0), (4, 4), (0, 4), (0, 0)]
    hole = [(1, 1), (1, 2), (2, 2), (2, 1), (1, 1)]
    path = tmp_path / "a.gpkg"
    _write(path, [(lines, {"name": "edge"})], geometry="MultiLineString", layer="l", fields={"name": "str"})
    _write(path, [({"type": "Polygon", "coordinates": [ring, hole]}, {})], geometry="Polygon", layer="a")
    _write(path, [({"type": "MultiPoint", "coordinates": [(1, 2), (3, 4)]}, {})], geometry="MultiPoint", layer="p")
    packet = _read(path)
    assert packet.tracks[0].segment.tolist() == [0, 0, 1, 1, 1]
    assert packet.tracks[0].name == "edge"
    assert packet.perimeters[0].geometry.area == 15
    assert packet.detections.source.record.tolist() == [1, 1]


def test_an_independent_reader_sees_what_was_written(tmp_path: Path) -> None:
    """pyogrio, in a process of its own, finds every layer with its system, geometry and attributes."""
    pytest.importorskip("pyogrio")
    write(SAMPLES["some of everything"], tmp_path / "a.gpkg", host=HOST)
    script = (
        "import json, sys, pyogrio\n"
        "found = {}\n"
        "for name, kind in pyogrio.list_layers(sys.argv[1]):\n"
        "    frame = pyogrio.read_dataframe(sys.argv[1], layer=name)\n"
        "    found[name] = [kind, frame.crs.to_epsg(), len(frame), str(frame.geometry.iloc[0])]\n"
        "print(json.dumps(found))\n"
    )
    run = subprocess.run(  # noqa: S603  # our own interpreter
        [sys.executable, "-c", script, str(tmp_path / "a.gpkg")], capture_output=True, text=True, check=True
    )
    found = json.loads(run.stdout)
    assert set(found) == {"detections", "notes", "places", "fixes", "perimeters"}
    assert found["detections"] == ["Point", 4326, 1, "POINT (-114.2031 44.5012)"]
    assert found["perimeters"][:3] == ["Polygon", 4326, 1]
    assert found["fixes"][1:3] == [4326, 5]


def test_a_database_open_in_this_process_is_not_given_to_gdal(tmp_path: Path) -> None:
    """GDAL carries a second SQLite that would drop the first one's locks: refused while open, read when closed."""
    path = tmp_path / "a.gpkg"
    packet = Packet(detections=Detections(id=["H-001"], longitude=[1.0], latitude=[2.0]))
    write(packet, path, host=HOST)
    database = sqlite3.connect(path)
    database.execute("SELECT count(*) FROM gpkg_contents").fetchone()
    with pytest.raises(ReadError, match="is open in this process"):
        read(path, host=HOST)
    database.close()
    assert read(path, host=HOST) == packet


def test_a_database_in_use_is_not_replaced(tmp_path: Path) -> None:
    """A write ahead log beside the target belongs to its old content: writing over it would destroy the new one."""
    path = tmp_path / "a.gpkg"
    database = sqlite3.connect(path)
    database.execute("PRAGMA journal_mode=wal")
    database.execute("CREATE TABLE t (a)")
    before = path.read_bytes()
    with pytest.raises(WriteError, match="in use by a database"):
        write(SAMPLES["one point"], path, host=HOST, overwrite=True)
    assert path.read_bytes() == before
    database.close()


def test_one_bare_shapefile_holds_one_kind(tmp_path: Path) -> None:
    """Several kinds of thing in one .shp are refused with the way out; one kind is written with its sidecar."""
    with pytest.raises(WriteError, match="one shapefile holds one kind of thing"):
        write(SAMPLES["some of everything"], tmp_path / "a.shp", host=HOST)
    assert list(tmp_path.iterdir()) == []
    packet = SAMPLES["every column of a detection"]
    write(packet, tmp_path / "b.shp", host=HOST)
    assert read(tmp_path / "b.shp", host=HOST) == packet


def test_short_field_names_stay_unique(tmp_path: Path) -> None:
    """Names that a shapefile would cut to the same ten letters come back whole, each with its own values."""
    extra = {"temperature_mean": [1.5], "temperature_high": [2.5], "temperature_low": [0.5]}
    packet = Packet(detections=Detections(longitude=[1.0], latitude=[2.0], temperature=[9.0], extra=extra))
    write(packet, tmp_path / "a.shp.zip", host=HOST)
    assert read(tmp_path / "a.shp.zip", host=HOST) == packet


def test_the_invented_zipped_shapefile_reads(tmp_path: Path) -> None:
    """The Marrow Flat sortie in NAD 83 UTM comes in with its temperatures in degrees Celsius."""
    packet = _read(MARROW_FLAT / "sorties" / "s1_sur.zip")
    assert len(packet.detections) > 20
    assert np.all(np.abs(packet.detections.longitude + 114) < 0.1)
    temperature = packet.detections.temperature
    assert np.nanmin(temperature) > 0
    assert np.nanmax(temperature) < 1000


UNSAFE = {
    "../x.shp": "points out of its folder",
    "/etc/x.shp": "points out of its folder",
    "C:\\x.shp": "points out of its folder",
    "a/../../x.shp": "points out of its folder",
}


@pytest.mark.parametrize("name", UNSAFE)
def test_archive_names_that_leave_the_folder_are_refused(name: str, tmp_path: Path) -> None:
    """Nothing is unpacked outside the temporary folder (CWE-22)."""
    path = tmp_path / "a.shp.zip"
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr(name, b"x")
    with pytest.raises(UnsafeInputError, match=UNSAFE[name]):
        _read(path)
    assert [p.name for p in tmp_path.iterdir()] == ["a.shp.zip"]


def test_a_zip_bomb_is_refused(tmp_path: Path) -> None:
    """Sixteen megabytes of zeros are not unpacked (CWE-409)."""
    path = tmp_path / "a.shp.zip"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("a.shp", bytes(2**24))
    with pytest.raises(UnsafeInputError, match="unpacks to far more"):
        _read(path)


BROKEN = {
    "empty archive": (".shp.zip", b"PK\x05\x06" + bytes(18), MalformedError, "holds no shapefile|no loaded"),
    "truncated archive": (".shp.zip", b"PK\x03\x04" + b"a" * 40, MalformedError, "cannot read it|broken"),
    "half a shapefile": (".shp", b"\x00\x00\x27\x0a" + bytes(96), MalformedError, "cannot read it|shorter than"),
    "half a geopackage": (".gpkg", b"SQLite format 3\x00" + bytes(52) + b"GPKG" + bytes(28), MalformedError, "cannot"),
    "half a flatgeobuf": (".fgb", b"fgb\x03fgb\x00" + bytes(20), MalformedError, "shorter than its own header"),
}


@pytest.mark.parametrize("name", BROKEN)
def test_broken_files_are_told(name: str, tmp_path: Path) -> None:
    """A file cut short is told as such, by its name, never as an empty one."""
    suffix, content, error, words = BROKEN[name]
    path = tmp_path / f"broken{suffix}"
    path.write_bytes(content)
    fmt = next(fmt for fmt in HOST.formats.values() if suffix in fmt.suffixes)
    with pytest.raises(error, match=words) as caught:
        read(path, host=HOST, format_name=fmt.name)
    assert "broken" in str(caught.value)


@pytest.mark.parametrize("share", [0.02, 0.5, 0.99])
@pytest.mark.parametrize("suffix", [".fgb", ".shp"])
def test_a_file_cut_short_is_never_read_as_a_shorter_list(suffix: str, share: float, tmp_path: Path) -> None:
    """The GIS library ends quietly where the bytes end; the rows the file states are counted."""
    path = tmp_path / f"a{suffix}"
    write(SAMPLES["hostile text"], path, host=HOST)
    content = path.read_bytes()
    path.write_bytes(content[: int(len(content) * share)])
    with pytest.raises((MalformedError, ReadError)):
        read(path, host=HOST)


def test_no_polygon_is_lost_from_a_perimeter_of_many_parts(tmp_path: Path) -> None:
    """A shapefile keeps all parts and islands of one perimeter in one record."""
    perimeter: Perimeter = SAMPLES["a perimeter in two parts"].perimeters[0]
    write(Packet(perimeters=(perimeter,)), tmp_path / "a.shp", host=HOST)
    assert read(tmp_path / "a.shp", host=HOST).perimeters == (perimeter,)
