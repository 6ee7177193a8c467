from __future__ import annotations

import os
from pathlib import Path

import pytest

from exchange.cli import formats as formats_module
from tests.cli.result import Run


@pytest.mark.parametrize(
    "arguments",
    [("inspect", "sortie.csv"), ("convert", "sortie.csv", "-o", "out.csv"), ("formats",), ("--help",), ("--version",)],
    ids=" ".join,
)
def test_done_is_0(exchange: Run, arguments: tuple[str, ...]) -> None:
    """Where nothing was skipped or changed the exit code is 0."""
    assert exchange(*arguments).code == 0


@pytest.mark.parametrize(
    "arguments",
    [("inspect", "missing.csv"), ("convert", "missing.csv", "-o", "out.csv"), ("inspect", "."), ("inspect", "empty")],
    ids=" ".join,
)
def test_a_failure_is_1(exchange: Run, folder: Path, arguments: tuple[str, ...]) -> None:
    """A file that cannot be read ends with exit code 1."""
    (folder / "empty").touch()
    assert exchange(*arguments).code == 1


@pytest.mark.parametrize(
    "arguments",
    [
        ("extinguish",),
        ("inspect",),
        ("convert", "sortie.csv"),
        ("convert", "sortie.csv", "-o", "out.unknown"),
        ("inspect", "sortie.csv", "--no-such-option"),
        ("inspect", "sortie.csv", "--from", "unknown"),
        ("inspect", "sortie.csv", "--assume-tz", "Marrow/Flat"),
        ("inspect", "sortie.csv", "--unit", "temperature"),
        ("inspect", "sortie.csv", "--order", "up-down"),
        ("inspect", "-"),
        ("inspect", "-", "-", "--from", "csv"),
        ("convert", "sortie.csv", "-o", "-"),
        ("convert", "sortie.csv", "-o", "-", "--to", "csv", "--json"),
    ],
    ids=" ".join,
)
def test_wrong_usage_is_2(exchange: Run, folder: Path, arguments: tuple[str, ...]) -> None:
    """An option, a name or a combination that cannot be used ends with exit code 2, and nothing is written."""
    before = sorted(folder.iterdir())
    result = exchange(*arguments)
    assert result.code == 2
    assert result.err
    assert sorted(folder.iterdir()) == before


def test_something_skipped_is_3(exchange: Run) -> None:
    """A time without a zone is skipped and told: done, but a person must look."""
    inspected = exchange("inspect", "no-zone.csv")
    assert inspected.code == 3
    assert "--assume-tz" in inspected.err
    assert exchange("convert", "no-zone.csv", "-o", "out.csv").code == 3
    assert exchange("inspect", "no-zone.csv", "--json").code == 3


def test_the_option_that_is_named_mends_it(exchange: Run) -> None:
    """With the zone stated the same file is read without a word of loss."""
    result = exchange("inspect", "no-zone.csv", "--assume-tz", "-06:00")
    assert result.code == 0
    assert "2026-08-15T01:03:05Z (UTC)" in result.out


def test_a_fault_of_the_program_is_told_without_a_traceback(exchange: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    """An error nobody foresaw is one short message with exit code 1; a variable shows where it was."""
    monkeypatch.setattr(formats_module, "load_host", _fail)
    result = exchange("formats")
    assert result.code == 1
    assert "a fault of this program: ArithmeticError: seven" in result.err
    assert "Traceback" not in result.err
    monkeypatch.setitem(os.environ, "EXCHANGE_DEBUG", "1")
    with pytest.raises(ArithmeticError, match="seven"):
        exchange("formats")


def test_an_interrupt_is_told_in_a_word(exchange: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    """Control-C ends with a word, not with a traceback."""
    monkeypatch.setattr(formats_module, "load_host", _interrupt)
    result = exchange("formats")
    assert (result.code, result.err.strip()) == (1, "exchange: stopped")


@pytest.mark.parametrize(
    ("arguments", "code"),
    [
        (("inspect", "sortie.csv"), 0),
        (("inspect", "missing.csv"), 1),
        (("inspect", "-"), 2),
        (("inspect", "no-zone.csv"), 3),
    ],
)
def test_the_process_ends_with_that_code(real_exchange: Run, arguments: tuple[str, ...], code: int) -> None:
    """The shell sees the same codes."""
    assert real_exchange(*arguments).code == code


def _fail() -> None:
    raise ArithmeticError("seven")


def _interrupt() -> None:
    raise KeyboardInterrupt
