from __future__ import annotations

from pathlib import Path

import pytest

from exchange.cli.main import COMMANDS
from tests.cli.result import Run


def test_the_demo_runs_every_command_that_reads_and_writes(
    exchange: Run, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The invented fire goes through all bundled formats; the files are there, and the caution is said."""
    monkeypatch.delenv("EXCHANGE_PLUGINS")
    result = exchange("demo", "marrow-flat")
    assert result.code == 0, result.err
    assert "All of it is invented" in result.err
    assert "incident's command" in result.err
    for name in set(COMMANDS) - {"demo"}:
        assert f"$ exchange {name}" in result.err
    exchanged = {path.name for path in (folder / "marrow-flat" / "exchanged").iterdir()}
    assert {f"all-sorties.{suffix}" for suffix in ("kmz", "gpx", "csv", "gpkg")} <= exchanged
    assert "Traceback" not in result.err
    # Half a ring is refused, returns hold a conflict, an unplaced note and reopened spots, and the wrong file goes.
    for told in (
        "The edge is flown in part only",
        "conflict:",
        "unplaced:",
        "disputed:",
        "reopened:",
        "withdrawn, 40 sightings",
        "is whole",
    ):
        assert told in result.err
    made = {path.name for path in (folder / "marrow-flat").rglob("*") if path.is_file()}
    assert {"incident.gpkg", "incident.kmz", "perimeter.geojson", "perimeter.png", "sheet.pdf", "manifest.csv"} <= made
    assert "half.geojson" not in made


def test_the_demo_refuses_to_replace(exchange: Run, folder: Path) -> None:
    """Files of an earlier demonstration stay unless --overwrite is given."""
    (folder / "marrow-flat" / "sorties").mkdir(parents=True)
    mine = folder / "marrow-flat" / "sorties" / "n1_export.csv"
    mine.write_text("mine", encoding="utf-8")
    result = exchange("demo", "marrow-flat")
    assert result.code == 1
    assert "--overwrite" in result.err
    assert mine.read_text(encoding="utf-8") == "mine"
