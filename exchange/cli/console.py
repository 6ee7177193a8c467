"""Words to a person: on standard error, with progress on a terminal only."""

from __future__ import annotations

import os
import re
import shutil
import sys
import tempfile
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from exchange.errors import OptionError

if TYPE_CHECKING:
    from exchange.formats.format import InputFile
    from exchange.formats.host import Host
    from exchange.formats.options import ReadOptions
    from exchange.model import Packet, Problem

SHOWN_PROBLEMS = 20

_SURROGATE = re.compile("[\ud800-\udfff]")


def say(text: str) -> None:
    """Say something to a person; where nobody reads any more the work goes on, and its exit code stays true."""
    try:
        click.echo(text, err=True)
    except BrokenPipeError:
        # What is flushed once more at the end would complain about the closed pipe.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stderr.fileno())


def load_host() -> Host:
    """Load the plugins and name those that were left out, once."""
    from exchange.formats.host import Host

    host = Host.with_installed_plugins()
    for record in host.failures():
        say(f"exchange: plugin {record.name} of {record.distribution or 'unknown'} is left out: {record.error}")
    return host


def tell_problems(problems: Iterable[Problem]) -> None:
    """Say each problem, those that need a person first, and how many more there are."""
    ordered = sorted(problems, key=lambda problem: not problem.needs_person)
    for problem in ordered[:SHOWN_PROBLEMS]:
        say(f"{problem.severity}: {problem}")
    if len(ordered) > SHOWN_PROBLEMS:
        say(f"... and {len(ordered) - SHOWN_PROBLEMS} more kinds of problem; --json lists all")


def print_report(report: dict[str, Any]) -> None:
    """Print a report as JSON on standard output."""
    import orjson

    options = orjson.OPT_INDENT_2 | orjson.OPT_SERIALIZE_NUMPY | orjson.OPT_NON_STR_KEYS
    try:
        text = orjson.dumps(report, option=options)
    except TypeError:
        text = orjson.dumps(_replace_surrogates(report), option=options)
    click.echo(text.decode())


def to_printable(name: str) -> str:
    """Return a file's name with what is not in UTF-8 shown as a mark, since no report and no file could hold it."""
    return _SURROGATE.sub("\ufffd", name)


def _replace_surrogates(value: Any) -> Any:
    if isinstance(value, str):
        return to_printable(value)
    if isinstance(value, dict):
        return {_replace_surrogates(key): _replace_surrogates(each) for key, each in value.items()}
    return [_replace_surrogates(each) for each in value] if isinstance(value, list | tuple) else value


@contextmanager
def open_inputs(names: Iterable[str], *, format_name: str) -> Iterator[list[InputFile]]:
    """Yield the input files; ``-`` is standard input, copied to a temporary file first.

    Raises
    ------
    OptionError
        When standard input is named without its format, or twice.
    """
    from exchange.formats.format import InputFile

    names = list(names)
    if names.count("-") > 1:
        raise OptionError("standard input can be read once only", field="FILE")
    if "-" in names and not format_name:
        raise OptionError("standard input has no name to tell its format", remedy="Say it with --from FORMAT.")
    with tempfile.TemporaryDirectory(prefix="exchange-") as folder:
        copy = Path(folder) / "standard input"
        if "-" in names:
            with copy.open("wb") as target:
                shutil.copyfileobj(sys.stdin.buffer, target)
        yield [
            InputFile(copy, "standard input") if name == "-" else InputFile(Path(name), to_printable(name))
            for name in names
        ]


def show_progress(packets: Iterable[Packet], what: str) -> Iterator[Packet]:
    """Pass packets through and count their rows on a terminal; elsewhere pass them through."""
    if not sys.stderr.isatty():
        yield from packets
        return
    from rich.console import Console
    from rich.status import Status

    rows = 0
    with Status(what, console=Console(stderr=True)) as status:
        for packet in packets:
            rows += sum(count for kind, count in packet.counts().items() if kind != "tracks")
            status.update(f"{what}: {rows:,} rows")
            yield packet


def read_all(names: Iterable[str], host: Host, format_name: str, options: ReadOptions) -> Packet:
    """Read files one after another into one packet, with progress."""
    from exchange.formats.reading import read_packets
    from exchange.model import Packet

    with open_inputs(names, format_name=format_name) as inputs:
        return Packet.join(
            packet
            for file in inputs
            for packet in show_progress(
                read_packets(file, host=host, options=options, format_name=format_name), file.name
            )
        )
