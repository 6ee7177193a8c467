from __future__ import annotations

import io
import os
import subprocess
import sys
from pathlib import Path

import pytest

from exchange.cli.main import run
from tests.cli.result import SORTIE, WITHOUT_ZONE, Result, Run


@pytest.fixture(autouse=True)
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Work in a folder of its own, with two plain formats only, on two small sorties."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("EXCHANGE_PLUGINS", "csv,geojson")
    monkeypatch.delenv("EXCHANGE_DEBUG", raising=False)
    (tmp_path / "sortie.csv").write_text(SORTIE, encoding="utf-8")
    (tmp_path / "no-zone.csv").write_text(WITHOUT_ZONE, encoding="utf-8")
    return tmp_path


@pytest.fixture
def exchange(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Run:
    """Run a command in this process."""

    def call(*arguments: str, stdin: str = "") -> Result:
        monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(stdin.encode())))
        capsys.readouterr()
        code = run(arguments)
        return Result(code, *capsys.readouterr())

    return call


@pytest.fixture
def real_exchange(folder: Path) -> Run:
    """Run a command as the shell does, in a process of its own."""

    def call(*arguments: str, stdin: str = "") -> Result:
        command = [sys.executable, "-c", "from exchange.cli.main import main; main()", *arguments]
        done = subprocess.run(  # noqa: S603
            command, input=stdin, capture_output=True, text=True, check=False, cwd=folder, env=dict(os.environ)
        )
        return Result(done.returncode, done.stdout, done.stderr)

    return call
