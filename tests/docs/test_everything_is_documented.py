from __future__ import annotations

import ast
import inspect
import re
import shlex
import sys
import tomllib
from importlib import import_module
from pathlib import Path

import click
import pytest

from exchange import errors
from exchange.cli.main import COMMANDS, exchange
from exchange.formats import hooks

ROOT = Path(__file__).parents[2]
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
HOOKS = [name for name, value in vars(hooks).items() if hasattr(value, f"{hooks.PROJECT}_spec")]
IMPORTED_AS = {"fpdf": "fpdf2"}
"""Distributions by the name that is imported, where the two differ."""

ERRORS = [value for value in vars(errors).values() if inspect.isclass(value)]


def _command(name: str) -> click.Command:
    command = import_module(f"exchange.cli.{name}").command
    assert isinstance(command, click.Command)
    return command


def _with_subcommands() -> list[str]:
    """Return every command by its words: ``ledger``, ``ledger add``."""
    groups = {name: command for name in COMMANDS if isinstance(command := _command(name), click.Group)}
    return [*COMMANDS, *(f"{name} {sub}" for name, group in groups.items() for sub in group.commands)]


def _find(words: str) -> click.Command:
    name, _, sub = words.partition(" ")
    command = _command(name)
    return command.commands[sub] if sub and isinstance(command, click.Group) else command


def test_the_hooks_are_found() -> None:
    """The tests below would prove nothing without a hook to look at."""
    assert "exchange_formats" in HOOKS


@pytest.mark.parametrize("hook", HOOKS)
def test_each_hook_is_documented(hook: str) -> None:
    """A plugin author finds every hook, with its arguments, in DEVELOPERS.md and in its own docstring."""
    arguments = ", ".join(inspect.signature(getattr(hooks, hook)).parameters)
    assert f"| `{hook}({arguments})` |" in DEVELOPERS
    assert inspect.getdoc(getattr(hooks, hook))


@pytest.mark.parametrize("hook", HOOKS)
def test_each_hook_is_tested(hook: str) -> None:
    """The good sample plugin, which the host's tests load, implements every hook."""
    good = ast.parse((ROOT / "tests/sample_plugins/good/sample_good.py").read_text(encoding="utf-8"))
    implemented = {node.name for node in good.body if isinstance(node, ast.FunctionDef) if node.decorator_list}
    assert hook in implemented


def test_each_command_module_is_listed() -> None:
    """A module of the command line that defines a command is one that ``exchange --help`` lists."""
    texts = {path.stem: path.read_text(encoding="utf-8") for path in (ROOT / "exchange/cli").glob("*.py")}
    assert {name for name, text in texts.items() if re.search(r"^def command\(", text, re.M)} == set(COMMANDS)


def test_the_subcommands_are_found() -> None:
    """A group's own commands are looked at like any other."""
    assert {"ledger start", "ledger check"} < set(_with_subcommands())


@pytest.mark.parametrize("name", _with_subcommands())
def test_each_command_has_help_and_an_example(name: str) -> None:
    """A command goes by the name of its module, or of its place in a group, says what it does and shows how."""
    command = _find(name)
    assert command.name == name.split()[-1]
    assert command.help
    assert command.epilog
    assert command.epilog.startswith(f"Example: exchange {name} ")


@pytest.mark.parametrize("name", COMMANDS)
def test_the_listed_help_is_the_first_line_of_the_docstring(name: str) -> None:
    """``exchange --help`` and ``exchange NAME --help`` say the same of a command."""
    first = (_command(name).help or "").split("\n\n")[0]
    assert " ".join(first.split()) == COMMANDS[name]


@pytest.mark.parametrize("name", _with_subcommands())
def test_each_example_can_be_parsed(name: str) -> None:
    """An example in the help uses options that exist."""
    words = shlex.split((_find(name).epilog or "").removeprefix("Example: exchange "))
    context = _find(name).make_context(name, words[len(name.split()) :], resilient_parsing=False)
    assert context.params or isinstance(_find(name), click.Group)


@pytest.mark.parametrize("name", _with_subcommands())
def test_each_option_has_help(name: str) -> None:
    """No option is left for the user to guess."""
    options = [option for option in _find(name).params if isinstance(option, click.Option)]
    assert [option.name for option in options if not option.help] == []


def test_the_group_states_streams_exit_codes_and_the_caution() -> None:
    """``exchange --help`` tells where data and words go, what the exit codes mean, and who decides."""
    words = " ".join((exchange.help or "").split())
    for expected in ("standard error", "0 done, 1 a failure, 2 wrong usage, 3 done", "incident's command"):
        assert expected in words


@pytest.mark.parametrize("error", ERRORS, ids=lambda error: error.__name__)
def test_each_error_is_documented_and_of_the_family(error: type) -> None:
    """Every error says what it means, stems from the one root, and also from the builtin that fits."""
    assert error.__dict__.get("__doc__")
    assert issubclass(error, errors.ExchangeError)
    builtins = [base for base in error.__mro__ if base.__module__ == "builtins"]
    assert error is errors.ExchangeError or builtins[0] is not Exception


@pytest.mark.parametrize("folder", ["exchange", "plugins"])
def test_each_library_that_is_imported_is_declared_and_has_its_reason(folder: str) -> None:
    """What the program imports is a dependency in pyproject.toml and has a row in DEVELOPERS.md."""
    declared = _names(PROJECT["dependencies"])
    extras = PROJECT["optional-dependencies"]
    optional = _names(extras["geopandas"] + extras["scale"]) | {"hypothesis"}  # exchange.testing.strategies says so
    imported = _imported_libraries(ROOT / folder)
    assert imported
    assert imported - declared - optional == set()
    assert [name for name in imported if f"| {name} |" not in DEVELOPERS and f"**{name}**" not in DEVELOPERS] == []


def _imported_libraries(folder: Path) -> set[str]:
    modules: set[str] = set()
    for path in folder.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Import):
                modules |= {alias.name for alias in node.names}
            elif isinstance(node, ast.ImportFrom) and node.module:
                modules.add(node.module)
    first = {IMPORTED_AS.get(name, name) for name in (module.partition(".")[0] for module in modules)}
    return {name for name in first - set(sys.stdlib_module_names) if not name.startswith("exchange")} - {"__future__"}


def test_each_library_with_a_reason_is_declared() -> None:
    """DEVELOPERS.md explains no dependency that is gone."""
    declared = _names(PROJECT["dependencies"] + PROJECT["optional-dependencies"]["test"])
    section = DEVELOPERS.partition("## Dependencies")[2].partition("## Figures")[0]
    rows = re.findall(r"^\| ([a-z].*?) \| (.+) \|$", section, re.M)
    explained = {name for names, _ in rows for name in names.split(", ")} - {"library", "test extra"}
    assert explained <= declared
    assert _names(PROJECT["optional-dependencies"]["test"]) <= explained


def _names(requirements: list[str]) -> set[str]:
    return {re.split(r"[><=\[ ]", requirement)[0] for requirement in requirements}


def test_the_test_command_of_the_readme_is_the_one_of_ci() -> None:
    """What ``.ci/run`` runs first is the command that README.md gives, word for word."""
    (line,) = [line for line in (ROOT / ".ci/run").read_text(encoding="utf-8").splitlines() if ".[test]" in line]
    assert line in (ROOT / "README.md").read_text(encoding="utf-8")


def test_the_versions_agree() -> None:
    """The package and its metadata state one version."""
    from exchange import __version__

    assert PROJECT["version"] == __version__
