from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

from tests.cli.result import SORTIE, Run


def test_data_go_to_standard_output_and_words_to_standard_error(exchange: Run, folder: Path) -> None:
    """With ``-o -`` standard output holds the file's own bytes and nothing else."""
    exchange("convert", "sortie.csv", "-o", "out.geojson")
    streamed = exchange("convert", "sortie.csv", "-o", "-", "--to", "geojson")
    assert streamed.out == (folder / "out.geojson").read_text(encoding="utf-8")
    assert json.loads(streamed.out)["type"] == "FeatureCollection"
    assert "standard output: 2 detections" in streamed.err


def test_converting_to_a_file_says_nothing_on_standard_output(exchange: Run) -> None:
    """Words to a person go to standard error only, without escape codes where it is no terminal."""
    result = exchange("convert", "sortie.csv", "-o", "out.csv")
    assert result.out == ""
    assert "out.csv: 2 detections" in result.err
    assert "\x1b" not in result.err


def test_standard_input_is_read_with_its_format(exchange: Run, folder: Path) -> None:
    """``-`` reads standard input and gives what the file gives."""
    exchange("convert", "sortie.csv", "-o", "from-file.csv")
    result = exchange("convert", "-", "--from", "csv", "-o", "from-stream.csv", stdin=SORTIE)
    assert result.code == 0
    assert (folder / "from-stream.csv").read_bytes() == (folder / "from-file.csv").read_bytes()


def test_standard_input_beside_files(exchange: Run) -> None:
    """Standard input may stand among files; its rows are called by that name."""
    report = json.loads(exchange("inspect", "sortie.csv", "-", "--from", "csv", "--json", stdin=SORTIE).out)
    assert [file["file"] for file in report["files"]] == ["sortie.csv", "standard input"]


def test_standard_input_needs_its_format(exchange: Run) -> None:
    """A stream has no name to go by, so the option that states its format is named."""
    result = exchange("convert", "-", "-o", "out.csv", stdin=SORTIE)
    assert result.code == 2
    assert "--from" in result.err


def test_standard_output_needs_its_format(exchange: Run) -> None:
    """A stream has no suffix, so the option that states the format is named."""
    result = exchange("convert", "sortie.csv", "-o", "-")
    assert result.code == 2
    assert "--to" in result.err
    assert result.out == ""


def test_a_pipe_of_two_commands(real_exchange: Run) -> None:
    """What one command streams the next one reads."""
    first = real_exchange("convert", "sortie.csv", "-o", "-", "--to", "geojson")
    second = real_exchange("convert", "-", "--from", "geojson", "-o", "-", "--to", "csv", stdin=first.out)
    assert (first.code, second.code) == (0, 0)
    assert "stump" in second.out
    assert "-114.2" in second.out


@pytest.mark.parametrize(
    "arguments",
    [
        ["formats"],
        ["formats", "--json"],
        ["inspect", "sortie.csv"],
        ["convert", "sortie.csv", "-o", "-", "--to", "csv"],
    ],
    ids=" ".join,
)
def test_a_closed_pipe_is_quiet(folder: Path, arguments: list[str]) -> None:
    """Where the reader has gone before the first word, no traceback and no complaint follows."""
    command = [sys.executable, "-c", "from exchange.cli.main import main; main()", *arguments]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, cwd=folder)  # noqa: S603
    assert process.stdout is not None
    assert process.stderr is not None
    process.stdout.close()
    words = process.stderr.read().decode()
    process.stderr.close()
    process.wait()
    for complaint in ("Traceback", "BrokenPipe", "Broken pipe", "Exception ignored", "fault"):
        assert complaint not in words


def test_head_of_the_formats_in_a_shell(folder: Path) -> None:
    """``exchange formats --json | head -1`` shows one line and no complaint."""
    line = f'"{sys.executable}" -c "from exchange.cli.main import main; main()" formats --json | head -1'
    done = subprocess.run(  # noqa: S602  # the shell's pipe is what is tested
        line, shell=True, capture_output=True, text=True, check=True, cwd=folder
    )
    assert (done.stdout, done.stderr) == ("{\n", "")


@pytest.mark.parametrize(
    ("arguments", "code"),
    [
        (["inspect", "sortie.csv"], 0),
        (["inspect", "no-such-file.csv"], 1),
        (["inspect", "--no-such-option"], 2),
        (["convert", "no-such-file.csv", "-o", "-", "--to", "csv"], 1),
    ],
    ids=lambda value: value if isinstance(value, int) else " ".join(value),
)
def test_the_exit_code_stands_where_nobody_reads_the_words(folder: Path, arguments: list[str], code: int) -> None:
    """A refusal whose words meet a closed pipe is a refusal."""
    command = [sys.executable, "-c", "from exchange.cli.main import main; main()", *arguments]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, cwd=folder)  # noqa: S603
    assert process.stdout is not None
    assert process.stderr is not None
    process.stderr.close()
    process.stdout.read()
    process.stdout.close()
    assert process.wait() == code


@pytest.mark.parametrize(
    "arguments",
    [
        ("convert", "sortie.csv", "-o", "sortie.csv", "--overwrite"),
        ("merge", "sortie.csv", "-o", "list.csv", "--sightings", "./sortie.csv", "--overwrite"),
        ("reconcile", "sortie.csv", "--onto", "list.csv", "-o", "sortie.csv", "--overwrite"),
    ],
    ids=lambda arguments: arguments[0],
)
def test_what_is_read_is_never_replaced(exchange: Run, folder: Path, arguments: tuple[str, ...]) -> None:
    """Not even with --overwrite: what a sortie brought home is not to be had again."""
    result = exchange(*arguments)
    assert result.code == 2
    assert "is read and would be replaced" in result.err
    assert (folder / "sortie.csv").read_text(encoding="utf-8") == SORTIE
