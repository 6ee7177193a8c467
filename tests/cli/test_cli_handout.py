from __future__ import annotations

import json
from pathlib import Path

import pytest

from exchange.formats.manifest_file import read_manifest
from exchange.formats.reading import read
from exchange.formats.writing import write
from exchange.model import Detections, Packet, Perimeter, Places
from tests.cli.result import Run

FIRE = Path(__file__).parents[2] / "fixtures" / "marrow_flat"


@pytest.fixture(autouse=True)
def _with_all_formats(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Write a small list with its perimeter, and division breaks."""
    from shapely import box

    monkeypatch.delenv("EXCHANGE_PLUGINS")
    spots = Detections(
        id=["H-001", "H-002", "H-010"],
        longitude=[-114.0095, -114.005, -113.9905],
        latitude=[44.51, 44.51, 44.51],
        temperature=[400.0, 120.0, 250.0],
        status=["hot", "out", "recheck"],
    )
    area = Perimeter(name="edge", geometry=box(-114.01, 44.50, -113.99, 44.52))
    write(Packet(incident="Marrow Flat (invented)", detections=spots, perimeters=(area,)), folder / "list.geojson")
    breaks = Places(name=["B/A", "A/B"], longitude=[-114.0, -114.0], latitude=[44.50, 44.52])
    write(Packet(places=breaks), folder / "breaks.geojson")


def _numbers(path: Path = Path("out")) -> list[str]:
    return read_manifest(path / "manifest.csv").number.tolist()


def test_a_list_goes_out_to_several_devices(exchange: Run) -> None:
    """Each device has its file beside the manifest and the index; the words and the caution go to a person."""
    result = exchange("handout", "list.geojson", "--profile", "six-capitals", "--profile", "spreadsheet", "-o", "out")
    assert result.code == 0
    assert sorted(path.name for path in Path("out").iterdir()) == [
        "SIXCAPIT.gpx",
        "index.txt",
        "manifest.csv",
        "spreadsheet.csv",
    ]
    assert result.out == ""
    assert "out: 3 of the list's 3 spots" in result.err
    assert "the incident's command, licensed practice and local rules decide" in result.err
    assert read("out/spreadsheet.csv").detections.id.tolist() == ["H-001", "H-002", "H-010"]


def test_the_report_is_json(exchange: Run) -> None:
    """With --json the report alone is on standard output, with stable keys."""
    result = exchange(
        "handout", "list.geojson", "--profile", "six-capitals", "--order-by", "walk", "-o", "out", "--json"
    )
    report = json.loads(result.out)
    assert report["version"] == 1
    assert report["counts"] == {"listed": 3, "handed_out": 3}
    assert report["order"]["by"] == "walk"
    assert report["order"]["length_m"] <= report["order"]["length_by_number_m"]
    assert [(one["name"], one["spots"]) for one in report["files"]] == [("SIXCAPIT.gpx", 3)]
    assert result.err == ""


@pytest.mark.parametrize(
    ("options", "expected"),
    [
        (["--status", "hot", "--status", "recheck"], ["H-001", "H-010"]),
        (["--numbers", "H-002..H-010"], ["H-002", "H-010"]),
        (["--edge-most", "300ft"], ["H-001", "H-010"]),
        (["--side", "inside", "--edge-least", "100"], ["H-002"]),
        (["--temperature-least", "300F"], ["H-001", "H-010"]),
        (["--temperature-most", "250C"], ["H-002", "H-010"]),
        (["--near", "N 44 30.6 W 114 00.6", "--within", "0.5km"], ["H-001", "H-002"]),
        (["--near", "44.51, -113.99", "--nearest", "1"], ["H-010"]),
        (["--divisions", "breaks.geojson", "--division", "A"], ["H-001", "H-002"]),
        (["--divisions", "breaks.geojson", "--division", "B"], ["H-010"]),
        (["--order-by", "priority"], ["H-001", "H-010", "H-002"]),
        (["--order-by", "walk", "--start", "44.51, -113.99"], ["H-010", "H-002", "H-001"]),
    ],
)
def test_spots_are_chosen_and_ordered(exchange: Run, options: list[str], expected: list[str]) -> None:
    """Each option keeps and orders what it says, in the units that are written with it."""
    result = exchange("handout", "list.geojson", "--profile", "desktop-map", "-o", "out", *options)
    assert result.code == 0, result.err
    assert _numbers() == expected


@pytest.mark.parametrize("options", [["--status", "no heat"], ["--temperature-least", "900C"], ["--since", "2026Z"]])
def test_an_empty_choice_needs_a_person_and_writes_nothing(exchange: Run, options: list[str]) -> None:
    """Where no spot is wanted nothing is written, and the exit code says so."""
    result = exchange("handout", "list.geojson", "--profile", "six-capitals", "-o", "out", *options)
    if options[0] == "--since":
        assert (result.code, "is no time" in result.err) == (2, True)
    else:
        assert result.code == 3
        assert "none of the list's 3 spots is wanted; nothing was written" in result.err
    assert not Path("out").exists()


@pytest.mark.parametrize(
    ("options", "match"),
    [
        ([], "no device is named"),
        (["--profile", "seven"], "no profile is called 'seven'"),
        (["--profile", "six-capitals", "--temperature-least", "300"], "Write it with its unit"),
        (["--profile", "six-capitals", "--area-least", "big"], "'big' is no area"),
        (["--profile", "six-capitals", "--since", "2026-08-14T10:00"], "does not say its zone"),
        (["--profile", "six-capitals", "--near", "44.5, 14.2", "--nearest", "1"], "Write N or S and E or W"),
        (["--profile", "six-capitals", "--division", "A"], "no division is called 'A'"),
        (["--profile", "six-capitals", "--perimeter", "sortie.csv"], "there is no perimeter in it"),
        (["--profile", "six-capitals", "--split-by", "division"], "where the divisions are"),
    ],
)
def test_wrong_usage_is_told_with_the_remedy(exchange: Run, options: list[str], match: str) -> None:
    """An option that cannot be used ends with exit code 2, says which, and writes nothing."""
    result = exchange("handout", "list.geojson", "-o", "out", *options)
    assert (result.code, match in result.err) == (2, True), result.err
    assert not Path("out").exists()


def test_a_list_without_numbers_is_sent_to_be_numbered(exchange: Run) -> None:
    """Sightings without numbers are no list; the message says which command makes one of them."""
    Path("points.csv").write_text("lat,lon,temp (C)\n44.5,-114.2,300\n", encoding="utf-8")
    result = exchange("handout", "points.csv", "--profile", "six-capitals", "-o", "out")
    assert result.code == 1
    assert "1 of 1 spots have no number" in result.err
    assert "exchange merge" in result.err


def test_names_are_held_from_one_hand_out_to_the_next(exchange: Run) -> None:
    """A second hand-out into the folder holds to the names of the first, and an explicit manifest does too."""
    Path("mine.toml").write_text('name_length = 4\nname_letters = "A-Z0-9"\nformat = "csv"\n', encoding="utf-8")
    first = exchange("handout", "list.geojson", "--profile-file", "mine.toml", "-o", "out")
    assert first.code == 0
    manifest = Path("out/manifest.csv")
    manifest.write_text(manifest.read_text(encoding="utf-8").replace(",H001,", ",PINE,"), encoding="utf-8")
    assert exchange("handout", "list.geojson", "--profile-file", "mine.toml", "-o", "out").code == 1
    again = exchange("handout", "list.geojson", "--profile-file", "mine.toml", "-o", "out", "--overwrite")
    assert "the names in the manifest that is replaced are held" in again.err
    assert read_manifest("out/manifest.csv").short_name.tolist() == ["PINE", "H002", "H010"]
    exchange(
        *("handout", "list.geojson", "--profile-file", "mine.toml", "-o", "new", "--manifest", "out/manifest.csv"),
        *("--status", "hot"),
    )
    kept = read_manifest("new/manifest.csv")
    assert dict(zip(kept.short_name, kept.file, strict=True)) == {"PINE": "mine.csv", "H002": "", "H010": ""}


def test_the_list_of_the_invented_fire_goes_to_every_device(exchange: Run) -> None:
    """The list of the Marrow Flat fire comes out whole on every shipped device, with distances from its edge."""
    profiles = json.loads(exchange("formats", "--profiles", "--json").out)["profiles"]
    named = [word for one in profiles for word in ("--profile", one["name"])]
    listed = FIRE / "lists" / "after_period_1.geojson"
    edge = FIRE / "perimeters" / "later.geojson"
    result = exchange("handout", str(listed), *named, "--perimeter", str(edge), "-o", "out")
    assert result.code == 0, result.err
    manifest = read_manifest("out/manifest.csv")
    assert len(manifest) == 103 * len(profiles)
    numbers = set(read(listed).detections.id.tolist())
    assert {one["name"]: numbers for one in profiles} == {
        one["name"]: set(manifest.number[manifest.profile == one["name"]].tolist()) for one in profiles
    }
    assert any("inside the edge by" in comment for comment in manifest.comment)


def test_paper_goes_with_it_or_alone(exchange: Run) -> None:
    """The sheet and the script are written beside the files of devices, or without any device."""
    with_files = exchange(
        "handout", "list.geojson", "--profile", "six-capitals", "--sheet", "--radio", "-o", "out", "--workbook"
    )
    assert with_files.code == 0, with_files.err
    assert Path("out/workbook.xlsx").read_bytes().startswith(b"PK")
    assert Path("out/sheet.pdf").read_bytes().startswith(b"%PDF-")
    assert "Hotel dash zero one zero" in Path("out/radio.txt").read_text(encoding="utf-8")
    alone = exchange("handout", "list.geojson", "--radio", "--status", "hot", "-o", "alone")
    assert alone.code == 0, alone.err
    assert [path.name for path in Path("alone").iterdir()] == ["radio.txt"]
    again = exchange("handout", "list.geojson", "--radio", "-o", "alone")
    assert (again.code, "exists already" in again.err) == (1, True)


def test_profiles_are_shown(exchange: Run) -> None:
    """``exchange formats --profiles`` shows each device with its limits."""
    shown = exchange("formats", "--profiles").out
    assert "six-capitals" in shown
    assert "Old handheld" in shown
    (six,) = [
        one
        for one in json.loads(exchange("formats", "--profiles", "--json").out)["profiles"]
        if one["name"] == "six-capitals"
    ]
    assert (six["name_length"], six["most_points"], six["format"]) == (6, 500, "gpx")
