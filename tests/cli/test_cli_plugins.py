from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest

from tests.cli.result import Run

SAMPLE_PLUGINS = Path(__file__).parents[1] / "sample_plugins"


@pytest.fixture
def _broken_plugin(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Put a broken plugin among the installed packages, as an installer would."""
    installed = tmp_path / "installed"
    about = installed / "sample_broken-2.5.dist-info"
    about.mkdir(parents=True)
    shutil.copy(SAMPLE_PLUGINS / "does_not_import" / "sample_does_not_import.py", installed)
    (about / "METADATA").write_text("Metadata-Version: 2.1\nName: sample-broken\nVersion: 2.5\n", encoding="utf-8")
    (about / "entry_points.txt").write_text("[exchange]\nbroken = sample_does_not_import\n", encoding="utf-8")
    monkeypatch.syspath_prepend(str(installed))
    monkeypatch.setenv("EXCHANGE_PLUGINS", "broken,csv")


@pytest.mark.usefixtures("_broken_plugin")
def test_a_broken_plugin_is_named_once_and_the_work_is_done(exchange: Run, folder: Path) -> None:
    """One line on standard error names plugin, package and reason; the command goes on."""
    result = exchange("convert", "sortie.csv", "-o", "out.csv")
    assert result.code == 0
    (line,) = [line for line in result.err.splitlines() if "left out" in line]
    assert line.startswith("exchange: plugin broken of sample-broken is left out: does not import")
    assert "a_library_that_nobody_has" in line
    assert (folder / "out.csv").exists()


@pytest.mark.usefixtures("_broken_plugin")
def test_a_broken_plugin_is_in_the_report(exchange: Run) -> None:
    """``exchange formats --json`` always shows what failed, at which stage and why."""
    plugins = {plugin["name"]: plugin for plugin in json.loads(exchange("formats", "--json").out)["plugins"]}
    broken = plugins["broken"]
    assert (broken["distribution"], broken["version"], broken["loaded"]) == ("sample-broken", "2.5", False)
    assert broken["stage"] == "import"
    assert "a_library_that_nobody_has" in broken["error"]
    assert plugins["csv"]["loaded"]


@pytest.mark.usefixtures("_broken_plugin")
def test_a_broken_plugin_is_under_the_table(exchange: Run) -> None:
    """The table for people names what was left out."""
    assert "left out: broken (sample-broken), import:" in exchange("formats").out
