from __future__ import annotations

import csv
import json
import sys
from pathlib import Path

import pytest

from exchange.formats.reading import read
from tests.cli.result import Run

FIRE = Path(__file__).parents[2] / "fixtures/marrow_flat"
SORTIES = FIRE / "sorties"
EARLIER = FIRE / "lists/after_period_1.geojson"
PERIOD_1 = [str(SORTIES / "d1_heat.kml"), str(SORTIES / "n1_export.csv"), "--sortie", "N-1"]
ALL = [str(SORTIES / name) for name in ("d1_heat.kml", "n1_export.csv", "s1_norte.csv", "s1_sur.zip", "d2_heat.kmz")]
ALL += [str(SORTIES / name) for name in ("d2_late.gpx", "n2_spots.geojson", "n2_grid.tsv")]
ALL += ["--sortie", "N-1", "--assume-tz", "America/Boise"]

HEAD = "latitude,longitude,time,temp (C),sortie,accuracy (m)\n"


@pytest.fixture(autouse=True)
def every_format(monkeypatch: pytest.MonkeyPatch) -> None:
    """Read whatever the fire's aircraft brought."""
    monkeypatch.delenv("EXCHANGE_PLUGINS")


@pytest.fixture
def two(folder: Path) -> Path:
    """Two sorties that saw the same two spots, and one a third."""
    (folder / "a.csv").write_text(
        HEAD + "44.5,-114.0,2026-08-14T05:00:01Z,200,A,2\n44.501,-114.0,2026-08-14T05:00:05Z,90,A,2\n", encoding="utf-8"
    )
    (folder / "b.csv").write_text(
        HEAD + "44.50001,-114.0,2026-08-14T21:00:01Z,150,B,2\n44.50101,-114.0,2026-08-14T21:00:05Z,80,B,2\n"
        "44.502,-114.0,2026-08-14T21:00:09Z,70,B,2\n",
        encoding="utf-8",
    )
    return folder


def _numbers(path: Path) -> list[str]:
    return read(path).detections.id.tolist()


def test_two_sorties_become_one_list(exchange: Run, two: Path) -> None:
    """Each spot stands once; the table says what each sortie saw, and the caution is said."""
    result = exchange("merge", "a.csv", "b.csv", "--no-shift", "-o", "list.geojson")
    assert result.code == 0, result.err
    assert _numbers(two / "list.geojson") == ["H-001", "H-002", "H-003"]
    assert "3 spots of 5 sightings" in result.err
    assert "Not seen again does not mean\nout" in result.err
    assert "The incident's command" in result.err
    assert result.out == ""


def test_every_sighting_is_written_with_its_origin_and_its_spot(exchange: Run, two: Path) -> None:
    """Source file, record counted from 1, and the number; nothing of a row is lost."""
    assert exchange("merge", "a.csv", "b.csv", "-o", "list.csv", "--sightings", "seen.csv").code in (0, 3)
    with (two / "seen.csv").open(encoding="utf-8", newline="") as file:
        rows = [{name.split(":")[0]: cell for name, cell in row.items()} for row in csv.DictReader(file)]
    assert [(row["source_file"], row["source_record"]) for row in rows] == [
        ("a.csv", "1"), ("a.csv", "2"), ("b.csv", "1"), ("b.csv", "2"), ("b.csv", "3")
    ]  # fmt: skip
    assert [row["spot"] for row in rows] == ["H-001", "H-002", "H-001", "H-002", "H-003"]
    assert [float(row["temperature"]) for row in rows] == [200.0, 90.0, 150.0, 80.0, 70.0]


def test_a_sighting_keeps_its_first_origin_through_an_earlier_merge(exchange: Run, two: Path) -> None:
    """Sightings that come back from the file a merge wrote still name the sortie's own file."""
    exchange("merge", "a.csv", "-o", "old.csv", "--sightings", "old-seen.csv")
    again = ["--onto", "old.csv", "--onto-sightings", "old-seen.csv"]
    assert exchange("merge", "b.csv", *again, "-o", "new.csv", "--sightings", "new-seen.csv").code in (0, 3)
    seen = read(two / "new-seen.csv").detections
    told = set(zip(seen.extra["source_file"].tolist(), seen.extra["source_record"].tolist(), strict=True))
    assert told == {("a.csv", 1), ("a.csv", 2), ("b.csv", 1), ("b.csv", 2), ("b.csv", 3)}
    assert _numbers(two / "new.csv") == ["H-001", "H-002", "H-003"]


def test_the_same_files_again_change_nothing(exchange: Run, two: Path) -> None:
    """Merging onto the list that the same files gave leaves every byte of it."""
    exchange("merge", "a.csv", "b.csv", "-o", "one.geojson")
    exchange("merge", "b.csv", "a.csv", "--onto", "one.geojson", "-o", "two.geojson")
    assert read(two / "one.geojson").detections == read(two / "two.geojson").detections


def test_the_report_is_json(exchange: Run, two: Path) -> None:
    """Stable keys and a version; the counts add up."""
    report = json.loads(exchange("merge", "a.csv", "b.csv", "-o", "list.csv", "--json").out)
    assert report["version"] == 1
    assert {"sorties", "spots", "sightings", "flagged", "kept", "new", "not_seen_again", "problems"} <= set(report)
    assert sum(sortie["sightings"] for sortie in report["sorties"]) == report["sightings"] == 5
    assert report["kept"] + report["new"] == report["spots"]


def test_what_is_flagged_ends_with_3(exchange: Run, two: Path) -> None:
    """Two sorties that share two spots tell no shift: that wants a person, and is not done with exit code 0."""
    result = exchange("merge", "a.csv", "b.csv", "-o", "list.csv")
    assert result.code == 3
    assert "want a person's eye" in result.err


def test_places_go_through(exchange: Run, two: Path) -> None:
    """Markers that are no hotspot are no sightings, but they are in the output."""
    result = exchange("merge", "a.csv", str(FIRE / "places/places.gpx"), "-o", "list.geojson")
    assert result.code in (0, 3)
    packet = read(two / "list.geojson")
    assert len(packet.detections) == 2
    assert packet.places.name.tolist() == ["DP-1", "DP-2", "H-1", "H-2"]


def test_a_file_without_a_hotspot_is_told(exchange: Run) -> None:
    """The message says what is there instead, and how to take it for hotspots."""
    result = exchange("merge", str(FIRE / "places/places.gpx"), "-o", "list.csv")
    assert result.code == 1
    assert "4 places" in result.err
    assert "--points-as detections" in result.err


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--within", "five"], "--within: 'five' is no length"),
        (["--within", "5 furlongs"], "is no length"),
        (["--accuracy", "-2"], "is no distance"),
        (["--series", "h"], "is no series"),
        (["--onto-sightings", "a.csv"], "Give it with --onto"),
        (["--picture", "list.pdf"], "end in .png"),
        (["--sightings", "list.csv"], "named for two outputs"),
        (["--explain", "H-999"], "no number of the list"),
    ],
)
def test_wrong_usage_is_refused_before_anything_is_written(
    exchange: Run, two: Path, options: list[str], words: str
) -> None:
    """Each wrong option is named, with what to do, and no file appears."""
    result = exchange("merge", "a.csv", "-o", "list.csv", *options)
    assert (result.code, words in result.err) == (2, True), result.err
    assert not (two / "list.csv").exists()


def test_without_an_output_it_asks_for_one(exchange: Run, two: Path) -> None:
    """Only an explanation needs none."""
    assert exchange("merge", "a.csv").code == 2
    assert exchange("merge", "a.csv", "--explain", "H-001").out.startswith("H-001: latitude")


def test_a_length_may_carry_its_unit(exchange: Run, two: Path) -> None:
    """Two feet keep apart what five metres put together."""
    exchange("merge", "a.csv", "b.csv", "--no-shift", "--within", "2ft", "-o", "feet.csv")
    exchange("merge", "a.csv", "b.csv", "--no-shift", "--within", "5", "-o", "metres.csv")
    assert [len(_numbers(two / name)) for name in ("feet.csv", "metres.csv")] == [5, 3]


def test_cells_change_nothing(exchange: Run, two: Path) -> None:
    """The list made in cells of 100 feet is the list made at once."""
    exchange("merge", "a.csv", "b.csv", "-o", "once.csv")
    assert exchange("merge", "a.csv", "b.csv", "--cells", "100ft", "-o", "cells.csv").code in (0, 3)
    assert (two / "cells.csv").read_bytes() == (two / "once.csv").read_bytes()
    assert exchange("merge", "a.csv", "b.csv", "--cells", "0", "-o", "none.csv").code == 2


def test_a_scheduler_works_on_cells_only(exchange: Run, two: Path) -> None:
    """Without cells it is wrong usage, told before a file is read."""
    done = exchange("merge", "missing.csv", "--scheduler", "tcp://127.0.0.1:1", "-o", "none.csv")
    assert done.code == 2
    assert "--cells" in done.err


def test_cells_without_dask_name_what_to_install(exchange: Run, two: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The extra is named, and no list is written."""
    monkeypatch.setitem(sys.modules, "dask", None)
    done = exchange("merge", "a.csv", "b.csv", "--cells", "2000", "-o", "none.csv")
    assert done.code == 1
    assert "hotspot-exchange[scale]" in done.err
    assert not (two / "none.csv").exists()


@pytest.mark.parametrize(("origin", "names"), [("file", {"x", "y"}), ("folder", {"A-1"})])
def test_the_sortie_is_taken_from_the_file_or_its_folder(
    exchange: Run, folder: Path, origin: str, names: set[str]
) -> None:
    """Rows that name none are told apart by where they came from, and that is told."""
    (folder / "A-1").mkdir()
    for name in ("x", "y"):
        text = "latitude,longitude,time,temp (C)\n44.5,-114.0,2026-08-14T05:00:01Z,200\n"
        (folder / f"A-1/{name}.csv").write_text(text, encoding="utf-8")
    result = exchange("merge", "A-1/x.csv", "A-1/y.csv", "--sortie-from", origin, "-o", "list.csv", "--json")
    report = json.loads(result.out)
    assert {sortie["sortie"] for sortie in report["sorties"]} == names
    assert any("no sortie is named" in problem["message"] for problem in report["problems"])


def test_the_list_can_go_to_standard_output(exchange: Run, two: Path) -> None:
    """Data to stdout, words to stderr, the explanation among the words."""
    result = exchange("merge", "a.csv", "-o", "-", "--to", "csv", "--explain", "H-001")
    assert result.out.startswith("exchange,id,longitude")
    assert "made of 1 sighting" in result.err
    assert exchange("merge", "a.csv", "-o", "-").code == 2
    assert exchange("merge", "a.csv", "-o", "-", "--to", "csv", "--json").code == 2


def test_an_existing_file_is_kept(exchange: Run, two: Path) -> None:
    """Neither the list nor what goes beside it replaces anything unless told to."""
    for name in ("list.csv", "seen.csv", "look.png"):
        (two / name).write_text("old", encoding="utf-8")
    beside = ["--sightings", "seen.csv", "--picture", "look.png"]
    assert exchange("merge", "a.csv", "-o", "new.csv", *beside).code == 1
    assert not (two / "new.csv").exists()
    assert exchange("merge", "a.csv", "-o", "list.csv", *beside, "--overwrite").code in (0, 3)
    assert (two / "look.png").read_bytes().startswith(b"\x89PNG")


def test_coverage_by_flown_tracks_needs_a_swath(exchange: Run, two: Path) -> None:
    """How wide the camera saw is stated, not guessed."""
    track = str(FIRE / "tracks/d1_edge.gpx")
    result = exchange("merge", "a.csv", "--coverage", track, "-o", "list.csv")
    assert (result.code, "--swath 80m" in result.err) == (2, True)
    assert exchange("merge", "a.csv", "--coverage", track, "--swath", "80m", "-o", "list.csv").code in (0, 3)


@pytest.fixture(scope="module")
def fire_truth() -> dict[str, object]:
    """Read what each sighting of the invented fire is."""
    truth: dict[str, object] = json.loads((FIRE / "truth/truth.json").read_text(encoding="utf-8"))
    return truth


def test_the_invented_fire_becomes_one_list(exchange: Run, folder: Path, fire_truth: dict[str, object]) -> None:
    """Five sorties in eight files of six formats, onto the oldest list, fit the truth beside them."""
    beside = ["--onto", str(EARLIER), "--control", str(FIRE / "lists/control.csv")]
    beside += ["--coverage", str(SORTIES / "coverage.geojson"), "--perimeter", str(FIRE / "perimeters/later.geojson")]
    result = exchange("merge", *ALL, *beside, "--sightings", "seen.csv", "-o", "list.geojson", "--json")
    assert result.code in (0, 3), result.err
    seen = read(folder / "seen.csv").detections
    names = [f"sorties/{Path(name).name}" for name in seen.extra["source_file"].tolist()]
    sightings: dict[str, list[str]] = fire_truth["sightings"]  # type: ignore[assignment]
    truth, found = [], []
    for row, (name, record) in enumerate(zip(names, seen.extra["source_record"].tolist(), strict=True)):
        told = sightings[name][record - 1]
        truth.append(told if told != "false" else f"false {row}")
        found.append(seen.extra["spot"][row])
    from tests.merge.simulator.scoring import score_pairs

    assert len(seen) == sum(map(len, sightings.values()))
    assert score_pairs(truth, found).f1 > 0.97
    listed = read(folder / "list.geojson").detections.id.tolist()
    assert len(listed) == len(set(listed))
    assert "H-017" not in listed
