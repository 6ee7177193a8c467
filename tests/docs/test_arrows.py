from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
LAYERS = {"geo": 0, "model": 1, "formats": 2, "testing": 3, "demo_fire": 3, "incident": 4, "cli": 5}
JOB_PACKAGES = 3
PLUGINS = sorted(folder.name for folder in (ROOT / "plugins").glob("exchange_*"))


def _packages() -> list[str]:
    return sorted(folder.name for folder in (ROOT / "exchange").iterdir() if (folder / "__init__.py").exists())


def _imports(folder: Path) -> Iterator[tuple[Path, str]]:
    """Yield every module that the files of a folder import, those for type checking only included."""
    for path in sorted(folder.rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ImportFrom):
                assert not node.level, f"{path} imports relatively"
                yield from ((path, f"{node.module}.{alias.name}") for alias in node.names)
            elif isinstance(node, ast.Import):
                yield from ((path, alias.name) for alias in node.names)


def _points_along_the_arrow(package: str, imported: str) -> bool:
    return LAYERS.get(imported, JOB_PACKAGES) < LAYERS.get(package, JOB_PACKAGES)


@pytest.mark.parametrize("package", _packages())
def test_imports_go_along_the_arrow(package: str) -> None:
    """A package imports itself, what lies below it, and what lies under all: errors and the version."""
    against = [
        f"{path.name} imports {name}"
        for path, name in _imports(ROOT / "exchange" / package)
        if (parts := name.split("."))[0] == "exchange"
        and parts[1] not in (package, "errors", "__version__")
        and not _points_along_the_arrow(package, parts[1])
    ]
    assert against == []


def test_the_core_names_no_plugin() -> None:
    """The core imports no plugin: it reaches one through the host."""
    named = [
        f"{path.name} imports {name}" for path, name in _imports(ROOT / "exchange") if name.startswith("exchange_")
    ]
    assert named == []


@pytest.mark.parametrize("plugin", PLUGINS)
def test_a_plugin_imports_the_exchange_and_no_other_plugin(plugin: str) -> None:
    """A bundled plugin could be a stranger's: of the house it imports ``exchange`` below the command line only."""
    imported = [(path, name.split(".")) for path, name in _imports(ROOT / "plugins" / plugin)]
    others = [f"{path.name} imports {parts[0]}" for path, parts in imported if parts[0] in set(PLUGINS) - {plugin}]
    above = [f"{path.name} imports exchange.{parts[1]}" for path, parts in imported if parts[:2] == ["exchange", "cli"]]
    assert others + above == []
