from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

from exchange.cli.main import COMMANDS
from tests.cli.result import Run

HEAVY = ("fiona", "lxml", "pyarrow", "pyproj", "shapely", "simplekml", "geopandas", "matplotlib", "scipy")

_SHOW_MODULES = """
import json, sys
from exchange.cli.main import run
code = run(sys.argv[1:])
print(json.dumps([code, sorted(name for name in sys.modules if "." not in name)]), file=sys.stderr)
"""


def _modules_after(folder: Path, *arguments: str) -> set[str]:
    """Return which modules a fresh process has imported when a command has ended."""
    command = [sys.executable, "-c", _SHOW_MODULES, *arguments]
    done = subprocess.run(command, capture_output=True, text=True, check=True, cwd=folder)  # noqa: S603
    code, modules = json.loads(done.stderr.splitlines()[-1])
    assert code == 0
    return set(modules)


@pytest.mark.parametrize("arguments", [("--help",), ("--version",)], ids=" ".join)
def test_help_imports_nothing_heavy(folder: Path, arguments: tuple[str, ...]) -> None:
    """The list of commands needs neither numpy nor any library of a format, so it is there at once."""
    modules = _modules_after(folder, *arguments)
    assert "click" in modules
    assert modules & {"numpy", "pluggy", "rich", "orjson", *HEAVY} == set()


@pytest.mark.parametrize("name", COMMANDS)
def test_help_of_a_command_imports_nothing_heavy(folder: Path, name: str) -> None:
    """A command's own help imports no library of a format."""
    assert _modules_after(folder, name, "--help") & set(HEAVY) == set()


def test_loading_the_plugins_imports_no_library_of_a_format(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Every bundled plugin imports its libraries when it reads or writes, not when it is loaded."""
    monkeypatch.delenv("EXCHANGE_PLUGINS")
    assert _modules_after(folder, "formats", "--json") & set(HEAVY) == set()


def test_help_lists_every_command(exchange: Run) -> None:
    """``exchange --help`` names each command and who decides on a fire."""
    result = exchange("--help")
    assert all(f"  {name} " in result.out for name in COMMANDS)
    assert "incident's command" in result.out


@pytest.mark.parametrize("name", COMMANDS)
def test_help_of_a_command_shows_an_example(exchange: Run, name: str) -> None:
    """A command's help ends in an example to copy."""
    result = exchange(name, "--help")
    assert result.code == 0
    assert f"Example: exchange {name}" in result.out
