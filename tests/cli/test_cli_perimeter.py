from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.cli.result import Run

MARROW_FLAT = Path(__file__).parents[2] / "fixtures/marrow_flat"


@pytest.fixture(autouse=True)
def plugins(monkeypatch: pytest.MonkeyPatch) -> None:
    """Read every format of the fixtures."""
    monkeypatch.setenv("EXCHANGE_PLUGINS", "csv,geojson,gpx,kml")


def fixture(name: str) -> str:
    """Return the path of a file of the invented fire."""
    return str(MARROW_FLAT / name)


HALF = fixture("tracks/s1_half_ring.gpx")


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
        (["--simplify", "-1m"], "simplify_m"),
        (["--height", "nan"], "'nan' is no length"),
        (["--camera-angle", "95"], "camera_angle_degrees"),
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
