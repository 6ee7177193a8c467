from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import mgrs
import pytest

from tests.cli.result import Run

PROBLEM = {"message", "severity", "remedy", "path", "layer", "record", "field", "value", "count"}
SUMMARY = {
    "file", "format", "incident", "counts", "box", "grid_reference", "first_time", "last_time", "temperature_celsius",
    "sorties", "aircraft", "statuses", "layers", "foreign_fields", "attachments", "problems",
}  # fmt: skip
FORMAT = {"name", "title", "suffixes", "media_type", "read", "write", "holds", "distribution"}
PLUGIN = {"name", "distribution", "version", "loaded", "stage", "error", "formats"}


def _report(exchange: Run, *arguments: str) -> dict[str, Any]:
    report = json.loads(exchange(*arguments, "--json").out)
    assert report["version"] == 1
    return dict(report)


def test_keys_of_formats(exchange: Run) -> None:
    """Programs may rely on the names in the report of ``exchange formats``."""
    report = _report(exchange, "formats")
    assert set(report) == {"version", "formats", "plugins"}
    assert [fmt["name"] for fmt in report["formats"]] == ["csv", "geojson", "geojson-seq", "tsv"]
    assert all(set(fmt) == FORMAT for fmt in report["formats"])
    assert [plugin["name"] for plugin in report["plugins"]] == ["csv", "geojson"]
    assert all(set(plugin) == PLUGIN for plugin in report["plugins"])


@pytest.mark.parametrize("name", ["sortie.csv", "no-zone.csv"])
def test_keys_of_inspect(exchange: Run, name: str) -> None:
    """Programs may rely on the names in the report of ``exchange inspect``, whatever the file holds."""
    report = _report(exchange, "inspect", name)
    assert set(report) == {"version", "files"}
    (summary,) = report["files"]
    assert set(summary) == SUMMARY
    assert summary["problems"]
    assert all(set(problem) == PROBLEM for problem in summary["problems"])


def test_values_of_inspect(exchange: Run) -> None:
    """The report holds how many of what, where, when and how hot; the box is west, south, east, north."""
    (summary,) = _report(exchange, "inspect", "sortie.csv")["files"]
    assert summary["counts"] == {"detections": 2}
    assert summary["box"] == [-114.3, 44.5, -114.2, 44.6]
    assert (summary["first_time"], summary["last_time"]) == ("2026-08-14T19:03:05Z", "2026-08-14T19:04:05Z")
    assert summary["temperature_celsius"] == [300.0, 310.0]


def test_assumed_units_of_a_file_are_told_in_one_line(exchange: Run) -> None:
    """What was assumed and asks for nothing is one line for a person, and stays one problem each in the report."""
    Path("feet.csv").write_text("lat,lon,alt_ft,temp (F)\n44.5,-114.2,5000,600\n44.6,-114.3,5100,610\n")
    lines = [line for line in exchange("inspect", "feet.csv").err.splitlines() if "read in the unit" in line]
    assert lines == [
        "note: feet.csv: altitude is read in the unit foot (field alt_ft); "
        "temperature is read in the unit degree Fahrenheit (field temp (F))"
    ]
    (summary,) = _report(exchange, "inspect", "feet.csv")["files"]
    assert [p["field"] for p in summary["problems"] if "read in the unit" in p["message"]] == ["alt_ft", "temp (F)"]


def test_keys_of_convert(exchange: Run) -> None:
    """Programs may rely on the names in the report of ``exchange convert``."""
    report = _report(exchange, "convert", "sortie.csv", "no-zone.csv", "-o", "out.csv")
    assert set(report) == {"version", "files", "output", "counts", "problems"}
    assert (report["files"], report["output"]) == (["sortie.csv", "no-zone.csv"], "out.csv")
    assert report["counts"] == {"tracks": 0, "fixes": 0, "perimeters": 0, "detections": 3, "notes": 0, "places": 0}
    assert all(set(problem) == PROBLEM for problem in report["problems"])


def test_a_report_is_without_words(exchange: Run) -> None:
    """With --json problems are in the report only."""
    assert exchange("inspect", "no-zone.csv", "--json").err == ""
    assert exchange("convert", "no-zone.csv", "-o", "out.csv", "--json").err == ""


def test_inspect_prints_the_box_and_the_nearest_grid_reference(exchange: Run) -> None:
    """A tired person reads the box in degrees and the square at its middle, which the mgrs library names too."""
    lines = exchange("inspect", "sortie.csv").out.splitlines()
    assert lines[0] == "sortie.csv"
    assert "  where      latitude 44.50000 to 44.60000, longitude -114.30000 to -114.20000" in lines
    square = mgrs.MGRS().toMGRS(44.55, -114.25, MGRSPrecision=3)  # 11TQK184366
    spaced = f"{square[:3]} {square[3:5]} {square[5:8]} {square[8:]}"
    assert f"  near       {spaced} (USNG, 100 m square at the middle, WGS 84)" in lines


def test_inspect_across_the_180th_meridian(exchange: Run, folder: Path) -> None:
    """Spots on both sides of the 180th meridian give the narrow box, not one around the earth."""
    (folder / "far.csv").write_text("lat,lon\n52.0,179.9\n52.1,-179.8\n", encoding="utf-8")
    result = exchange("inspect", "far.csv", "--points-as", "detections")
    assert "longitude 179.90000 to -179.80000 (across the 180th meridian)" in result.out


def test_inspect_tells_which_unit_was_read(exchange: Run) -> None:
    """The unit found in a heading is told, though nothing was lost."""
    result = exchange("inspect", "sortie.csv")
    assert result.code == 0
    assert "note: sortie.csv" in result.err
    assert "degree Celsius" in result.err


def test_a_unit_option_changes_what_is_read(exchange: Run, folder: Path) -> None:
    """Fahrenheit stated by option becomes Celsius: 212 is 100 (the boiling point of water)."""
    (folder / "f.csv").write_text("lat,lon,temperature\n44.5,-114.2,212\n", encoding="utf-8")
    (summary,) = _report(exchange, "inspect", "f.csv", "--unit", "temperature=F")["files"]
    assert summary["temperature_celsius"] == [100.0, 100.0]


def test_formats_prints_a_table(exchange: Run) -> None:
    """The table for people lists every loaded format by its name."""
    words = exchange("formats").out.split()
    assert {"csv", "tsv", "geojson", "geojson-seq"} <= set(words)
