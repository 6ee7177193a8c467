from __future__ import annotations

import json
from pathlib import Path

import pytest
import shapely

from exchange.geo.frame import LocalFrame
from tests.cli.result import Result, Run
from tests.perimeter.simulator.scoring import Score, score

MARROW_FLAT = Path(__file__).parents[2] / "fixtures/marrow_flat"


@pytest.fixture(autouse=True)
def plugins(monkeypatch: pytest.MonkeyPatch) -> None:
    """Read every format of the fixtures."""
    monkeypatch.setenv("EXCHANGE_PLUGINS", "csv,geojson,gpx,kml")


def fixture(name: str) -> str:
    """Return the path of a file of the invented fire."""
    return str(MARROW_FLAT / name)


HALF = fixture("tracks/s1_half_ring.gpx")
OTHER_FIRE = json.dumps(
    {
        "type": "Feature",
        "properties": {"exchange": "perimeter"},
        "geometry": {"type": "Polygon", "coordinates": [[[10, 50], [10.1, 50], [10.1, 50.1], [10, 50.1], [10, 50]]]},
    }
)


def test_a_refused_trace_writes_nothing_but_the_picture(exchange: Run, folder: Path) -> None:
    """Half a ring ends with code 1 and without an output; the picture that was asked for shows why."""
    before = set(folder.iterdir())
    result = exchange("perimeter", HALF, "-o", "out.geojson", "--removed", "removed.csv", "--picture", "why.png")
    assert result.code == 1
    assert set(folder.iterdir()) - before == {folder / "why.png"}
    assert (folder / "why.png").read_bytes()[:8] == b"\x89PNG\r\n\x1a\n"
    assert "refused:" in result.err
    assert "no perimeter was written; why.png shows why" in result.err


def test_a_refused_trace_streams_nothing(exchange: Run) -> None:
    """Standard output stays empty where there is no perimeter."""
    result = exchange("perimeter", HALF, "-o", "-", "--to", "geojson")
    assert (result.code, result.out) == (1, "")


def test_the_report_of_a_refusal_has_its_reasons_and_no_output(exchange: Run) -> None:
    """With --json the refusal is data: a code, words, and no output."""
    result = exchange("perimeter", HALF, "-o", "out.geojson", "--json")
    report = json.loads(result.out)
    assert result.code == 1
    assert (report["version"], report["output"]) == (1, None)
    assert report["refusals"][0]["code"]
    assert report["refusals"][0]["words"]
    assert report["figures"]["fixes_in"] > 100


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--height", "sixty"], "'sixty' is no length"),
        (["--height", "60 acres"], "'60 acres' is no length"),
        (["--simplify", "-1m"], "field --simplify"),
        (["--height", "-60m"], "field --height"),
        (["--height", "nan"], "'nan' is no length"),
        (["--camera-angle", "95"], "field --camera-angle"),
        (["--camera-angle", "nan"], "field --camera-angle"),
        (["--edge-side", "below"], "'below' is not one of"),
        (["--max-vertices", "3"], "3 is not in the range"),
        (["--picture", "out.jpg"], "is no name of a PNG picture"),
        (["--removed", "out.geojson"], "one file is named for two outputs"),
    ],
    ids=lambda value: "-".join(value) if isinstance(value, list) else None,
)
def test_an_option_that_cannot_be_meant_is_wrong_usage(
    exchange: Run, folder: Path, arguments: list[str], words: str
) -> None:
    """An option outside of what it may be ends with code 2 and names itself; nothing is written."""
    before = set(folder.iterdir())
    result = exchange("perimeter", HALF, "-o", "out.geojson", *arguments)
    assert result.code == 2
    assert words in result.err
    assert set(folder.iterdir()) == before


@pytest.mark.parametrize("option", ["--picture", "--removed"])
def test_no_side_output_replaces_a_file_unasked(exchange: Run, folder: Path, option: str) -> None:
    """Picture and removed fixes, too, are refused where a file of the name exists."""
    (folder / "old.png").write_bytes(b"old")
    result = exchange("perimeter", HALF, "-o", "out.geojson", option, "old.png")
    assert result.code == 1
    assert "old.png: exists already" in result.err
    assert (folder / "old.png").read_bytes() == b"old"


def test_a_table_without_a_track_is_told_how_to_be_one(exchange: Run) -> None:
    """Rows that are no track end with code 1 and the option that makes them one."""
    result = exchange("perimeter", "sortie.csv", "-o", "out.geojson")
    assert result.code == 1
    assert "no track in sortie.csv, but 2 detections" in result.err
    assert "--as-track" in result.err


@pytest.mark.parametrize(
    ("name", "text", "words"),
    [
        ("empty.gpx", '<gpx xmlns="http://www.topografix.com/GPX/1/1" version="1.1" creator="t"/>', "there is nothing"),
        ("area.geojson", "", "but 1 perimeters"),
    ],
    ids=["empty", "perimeter"],
)
def test_a_file_without_a_track_asks_for_a_log(exchange: Run, folder: Path, name: str, text: str, words: str) -> None:
    """Where no table is at hand nobody is sent to --as-track, which would not help."""
    (folder / name).write_text(text or OTHER_FIRE, encoding="utf-8")
    result = exchange("perimeter", name, "-o", "out.geojson")
    assert result.code == 1
    assert f"no track in {name}" in result.err
    assert words in result.err
    assert "Give the log of a flight" in result.err
    assert "--as-track" not in result.err


@pytest.mark.parametrize("option", ["-o", "--picture", "--removed"])
def test_no_output_replaces_a_log(exchange: Run, folder: Path, option: str) -> None:
    """Even with --overwrite a file that is read is never written: a log that is gone cannot be flown again."""
    log = folder / "log.png"
    log.write_bytes(Path(HALF).read_bytes())
    outputs = ["-o", "log.png", "--to", "gpx"] if option == "-o" else ["-o", "out.geojson", option, "./log.png"]
    result = exchange("perimeter", "log.png", "--from", "gpx", *outputs, "--overwrite")
    assert result.code == 2
    assert "log.png' is read and would be replaced" in result.err
    assert log.read_bytes() == Path(HALF).read_bytes()


@pytest.mark.parametrize(
    ("option", "words"),
    [("--removed", "Make its folder first"), ("--picture", "Make its folder first"), ("--ledger", "no such ledger")],
)
def test_nothing_is_written_where_one_output_cannot_be(exchange: Run, folder: Path, option: str, words: str) -> None:
    """A missing folder or ledger is found before the perimeter is written beside it."""
    before = set(folder.iterdir())
    result = exchange("perimeter", EDGE, *IN_METRES, "-o", "out.geojson", option, "missing/there.png")
    assert result.code == 1
    assert words in result.err
    assert set(folder.iterdir()) == before


def test_growth_since_another_fire_needs_a_person(exchange: Run, folder: Path) -> None:
    """Two perimeters that do not touch are no growth of one fire: code 3 and a question."""
    (folder / "other.geojson").write_text(OTHER_FIRE, encoding="utf-8")
    result = exchange("perimeter", EDGE, *IN_METRES, "-o", "out.geojson", "--compare", "other.geojson")
    assert result.code == 3
    assert "the two perimeters do not touch: check that both are of one fire" in result.err


def test_growth_is_told_from_one_perimeter_only(exchange: Run) -> None:
    """An earlier file without a perimeter, or with several, is named."""
    for earlier, count in (("sortie.csv", 0), (fixture("truth/edges.geojson"), 2)):
        result = exchange("perimeter", HALF, "-o", "out.geojson", "--compare", earlier)
        assert result.code == 1
        assert f"{earlier}: holds {count} perimeters, and growth is told from one" in result.err


def test_an_elevation_model_that_is_none_is_named(exchange: Run) -> None:
    """A file that is no grid ends the command before anything is traced."""
    result = exchange("perimeter", HALF, "-o", "out.geojson", "--elevation", "sortie.csv")
    assert result.code == 1
    assert "sortie.csv: is no ASCII grid of heights" in result.err


def test_the_report_and_the_data_cannot_share_standard_output(exchange: Run) -> None:
    """--json with '-o -' is wrong usage."""
    assert exchange("perimeter", HALF, "-o", "-", "--to", "geojson", "--json").code == 2


EDGE, ISLAND = fixture("tracks/d1_edge.gpx"), fixture("tracks/d1_island.gpx")
BATTERIES = (fixture("tracks/d2_flight_1.kml"), fixture("tracks/d2_flight_2.kml"))
IN_METRES = ("--unit", "height=m", "--unit", "altitude=m")


def truth(edge: str, *, frame: LocalFrame) -> shapely.Geometry:
    """Return the invented truth in metres: the edge before or after it grew."""
    features = json.loads((MARROW_FLAT / "truth/edges.geojson").read_text(encoding="utf-8"))["features"]
    (found,) = [feature for feature in features if feature["properties"]["edge"] == edge]
    return frame.geometry_to_metres(shapely.geometry.shape(found["geometry"]))


def compare_with_truth(path: Path, edge: str, *, without_island: bool = False) -> Score:
    """Score a written perimeter against the invented truth."""
    frame = LocalFrame(-114.003, 44.52)
    (feature,) = json.loads(path.read_text(encoding="utf-8"))["features"]
    true = truth(edge, frame=frame)
    true = shapely.Polygon(true.exterior) if without_island else true
    return score(frame.geometry_to_metres(shapely.geometry.shape(feature["geometry"])), true)


def assert_done(result: Result) -> None:
    """Hold a command to having written something; a flag or a remark about the file may be told."""
    assert result.code in (0, 3), result.err


def test_an_edge_and_its_island_become_one_perimeter(exchange: Run, folder: Path) -> None:
    """The flown edge, with all its flaws, and the island's own flight give the true burn with its hole."""
    assert_done(exchange("perimeter", EDGE, ISLAND, *IN_METRES, "-o", "out.geojson"))
    found = compare_with_truth(folder / "out.geojson", "first")
    assert found.iou > 0.995
    assert found.mean_m < 1.2
    assert abs(found.area_error) < 0.005


def test_heights_without_a_unit_ask_for_a_person_only_where_they_are_used(exchange: Run, folder: Path) -> None:
    """Where the camera looked down no height is needed, and where an elevation model is given one is."""
    severities = []
    for more in ((), ("--elevation", fixture("terrain/invented_elevation.asc"))):
        result = exchange("perimeter", EDGE, *more, "-o", "out.geojson", "--overwrite", "--json")
        told = [found for found in json.loads(result.out)["problems"] if "without a unit" in found["message"]]
        severities.append({found["severity"] for found in told})
    assert severities == [{"note"}, {"skipped"}]


@pytest.mark.parametrize("order", [BATTERIES, BATTERIES[::-1]], ids=["in-order", "out-of-order"])
def test_two_batteries_become_one_perimeter(exchange: Run, folder: Path, order: tuple[str, str]) -> None:
    """Two flights of one edge, flown in opposite directions, are joined in whatever order they are named."""
    assert_done(exchange("perimeter", *order, *IN_METRES, "-o", "out.geojson"))
    found = compare_with_truth(folder / "out.geojson", "grown", without_island=True)
    assert found.iou > 0.995
    assert found.mean_m < 1.2


def test_one_battery_alone_is_refused(exchange: Run, folder: Path) -> None:
    """The first battery's half of the edge is no perimeter, though its legs close the line."""
    result = exchange("perimeter", BATTERIES[0], *IN_METRES, "-o", "out.geojson")
    assert result.code == 1
    assert not (folder / "out.geojson").exists()


def test_allow_open_marks_what_it_invents(exchange: Run, folder: Path) -> None:
    """Half a ring may be closed on demand; exit code, report and output all say that a line was invented."""
    result = exchange("perimeter", HALF, *IN_METRES, "-o", "out.geojson", "--allow-open", "--json")
    report = json.loads(result.out)
    assert result.code == 3
    assert report["refusals"]
    assert any(bridge["is_invented"] for bridge in report["bridges"])
    assert report["refusals"][0]["code"] in (folder / "out.geojson").read_text(encoding="utf-8")


def test_a_camera_that_looked_aside_is_allowed_for(exchange: Run, folder: Path) -> None:
    """With heading and pitch in the log and an elevation model the edge is found that the camera saw."""
    grid = fixture("terrain/invented_elevation.asc")
    track = fixture("tracks/n1_side_look.csv")
    reading = ("--as-track", "--assume-tz", "America/Boise", "--elevation", grid)
    assert_done(exchange("perimeter", track, *reading, "-o", "out.geojson"))
    found = compare_with_truth(folder / "out.geojson", "first", without_island=True)
    assert found.iou > 0.98
    assert found.mean_m < 4.0


def test_removed_fixes_are_markers_with_reasons(exchange: Run, folder: Path) -> None:
    """The side layer holds as many markers as the report counts, each with its reason and its record."""
    result = exchange("perimeter", EDGE, *IN_METRES, "-o", "out.geojson", "--removed", "removed.geojson", "--json")
    features = json.loads((folder / "removed.geojson").read_text(encoding="utf-8"))["features"]
    counted = json.loads(result.out)["figures"]["removed"]
    assert len(features) == sum(counted.values()) > 5
    assert {feature["properties"]["name"] for feature in features} == {name for name, n in counted.items() if n}
    assert all(feature["properties"]["source_record"] > 0 for feature in features)


def test_growth_is_told_since_an_earlier_perimeter(exchange: Run, folder: Path) -> None:
    """The edge that broke out in the east is found: some 6 ha more, moved eastward by far more than the error."""
    assert_done(exchange("perimeter", EDGE, *IN_METRES, "-o", "first.geojson"))
    arguments = ("--compare", "first.geojson", "-o", "grown.geojson", "--json")
    growth = json.loads(exchange("perimeter", *BATTERIES, *IN_METRES, *arguments).out)["growth"]
    frame = LocalFrame(-114.003, 44.52)
    before, after = (shapely.Polygon(truth(edge, frame=frame).exterior) for edge in ("first", "grown"))
    assert growth["added_ha"] == pytest.approx(after.difference(before).area / 1e4, abs=0.4)
    assert growth["lost_ha"] < 0.4
    assert growth["is_outward"]
    assert 45 < growth["moved_most_azimuth_degrees"] < 135
    assert growth["moved_most_m"] > 60
    assert not growth["is_within_error"]


@pytest.mark.parametrize("name", ["out.geojson", "out.kml", "out.gpx", "out.csv"])
def test_flags_travel_in_any_format_that_holds_a_perimeter(exchange: Run, folder: Path, name: str) -> None:
    """Whatever the perimeter is written as, the code of what stands against it is in the file."""
    result = exchange("perimeter", HALF, *IN_METRES, "-o", name, "--allow-open", "--json")
    assert result.code == 3
    code = json.loads(result.out)["refusals"][0]["code"]
    assert code in (folder / name).read_text(encoding="utf-8")


def test_words_go_to_a_person_with_the_caution(exchange: Run) -> None:
    """Without --json the figures and the caution are said on standard error, the data goes to standard output."""
    result = exchange("perimeter", EDGE, *IN_METRES, "-o", "-", "--to", "geojson")
    assert_done(result)
    assert json.loads(result.out)["features"]
    for words in ("acres", "chains", "removed: ", "the incident's command, licensed practice and local rules decide"):
        assert words in result.err
