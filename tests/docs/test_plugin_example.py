from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
_BLOCK = re.compile(r"^```(?:toml|python)\n(.*?)^```$", re.MULTILINE | re.DOTALL)
_SPOTS = '#spots\n44.5012 -114.2031 "stump"\n44.51 -114.21 "log \\u2028 \\ud83d\\udd25"\n'


def _blocks() -> tuple[str, str, str]:
    """Return the package description, the module and the test that DEVELOPERS.md shows."""
    description, module, test = _BLOCK.findall((ROOT / "DEVELOPERS.md").read_text(encoding="utf-8"))
    return description, module, test


@pytest.fixture(scope="module")
def installed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Install the example for real, apart from everything else, and return the folder it went into."""
    folder = tmp_path_factory.mktemp("example")
    source, target = folder / "package", folder / "installed"
    source.mkdir()
    description, module, _ = _blocks()
    (source / "pyproject.toml").write_text(description, encoding="utf-8")
    (source / "exchange_spotlist.py").write_text(module, encoding="utf-8")
    offline = ["--no-deps", "--no-build-isolation", "--no-index", "--disable-pip-version-check"]
    pip = [sys.executable, "-m", "pip", "install", "-q", *offline, "--target", str(target), str(source)]
    done = subprocess.run(pip, capture_output=True, text=True, check=False)  # noqa: S603
    assert done.returncode == 0, done.stderr
    return target


def _run(installed: Path, *arguments: str, module: str = "exchange.cli.main", cwd: Path | None = None) -> str:
    # With CI set hypothesis asks no deadline of a machine that does other work as well.
    environment = {**os.environ, "PYTHONPATH": str(installed), "EXCHANGE_PLUGINS": "spotlist,csv", "CI": "true"}
    # -c, not -m: the command is what the console script calls.
    start = ["-c", "from exchange.cli.main import main; main()"] if module == "exchange.cli.main" else ["-m", module]
    command = [sys.executable, *start, *arguments]
    done = subprocess.run(command, capture_output=True, text=True, check=False, env=environment, cwd=cwd)  # noqa: S603
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


def test_the_example_is_short() -> None:
    """A stranger adds a format in under 60 lines, package description included."""
    description, module, _ = _blocks()
    assert len((description + module).splitlines()) < 60


def test_the_installed_example_is_among_the_formats(installed: Path) -> None:
    """The host finds the package by its entry point and names it."""
    report = json.loads(_run(installed, "formats", "--json"))
    (described,) = [fmt for fmt in report["formats"] if fmt["name"] == "spotlist"]
    assert described["distribution"] == "exchange-spotlist"
    assert (described["suffixes"], described["read"], described["write"]) == ([".spots"], True, True)
    (record,) = [plugin for plugin in report["plugins"] if plugin["name"] == "spotlist"]
    assert (record["loaded"], record["version"]) == (True, "1.0")


def test_the_installed_example_reads_and_writes(installed: Path, tmp_path: Path) -> None:
    """A list of spots becomes a table and a list again, byte for byte."""
    spots, table, again = tmp_path / "a.spots", tmp_path / "a.csv", tmp_path / "b.spots"
    spots.write_text(_SPOTS, encoding="ascii")
    _run(installed, "convert", str(spots), "-o", str(table))
    assert "-114.2031" in table.read_text(encoding="utf-8")
    _run(installed, "convert", str(table), "-o", str(again))
    assert again.read_text(encoding="ascii") == _SPOTS


def test_the_test_shown_beside_it_passes(installed: Path, tmp_path: Path) -> None:
    """The round-trip test that the page shows runs as it stands."""
    (tmp_path / "test_spotlist.py").write_text(_blocks()[2], encoding="utf-8")
    assert "1 passed" in _run(installed, "-q", "-p", "no:cacheprovider", module="pytest", cwd=tmp_path)
