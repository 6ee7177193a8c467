"""``exchange convert``: files of any kind into one file of another."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, Any

import click

from exchange.cli.console import load_host, print_report, read_all, say, tell_problems
from exchange.cli.main import NEEDS_PERSON
from exchange.cli.options import (
    files_argument,
    json_option,
    output_option,
    overwrite_option,
    reading_options,
    to_read_options,
)

if TYPE_CHECKING:
    from exchange.formats.host import Host
    from exchange.formats.options import WriteOptions
    from exchange.model import Packet, Problem


@click.command("convert", epilog="Example: exchange convert sortie-1.kml sortie-2.csv --assume-tz UTC -o all.gpx")
@files_argument
@output_option
@click.option("--to", "target_format", metavar="FORMAT", default="", help="Format of the output; needed for '-o -'.")
@click.option("--format-version", metavar="VERSION", default="", help="Version of the output format, such as 1.0.")
@click.option("--title", default="", help="Title of the document; by default the incident's name.")
@click.option("--with-source", is_flag=True, help="Add columns that name each row's file, layer and record.")
@overwrite_option
@json_option
@reading_options
@click.pass_context
def command(
    ctx: click.Context,
    /,
    *,
    files: tuple[str, ...],
    output: str,
    target_format: str,
    format_version: str,
    title: str,
    with_source: bool,
    overwrite: bool,
    as_json: bool,
    format_name: str,
    **reading: Any,
) -> None:
    """Turn FILES into one file of another format, and tell what it could not hold."""
    from exchange.cli.outputs import check_outputs
    from exchange.formats.options import WriteOptions
    from exchange.model import gather_problems

    check_outputs(output, inputs=files, target_format=target_format, overwrite=overwrite, as_json=as_json)
    host = load_host()
    written = WriteOptions(title=title, version=format_version)
    packet = read_all(files, host, format_name, to_read_options(reading))
    if with_source:
        packet = packet.with_source_columns()
    losses = _write(packet, output, host, target_format, written, overwrite=overwrite)
    problems = gather_problems((*packet.problems, *losses))
    if as_json:
        print_report(_report(files, output, packet, problems))
    else:
        tell_problems(problems)
        held = ", ".join(f"{count} {kind}" for kind, count in packet.counts().items() if count)
        say(f"{'standard output' if output == '-' else output}: {held or 'nothing to write'}")
    ctx.exit(NEEDS_PERSON if any(problem.needs_person for problem in problems) else 0)


def _write(
    packet: Packet, output: str, host: Host, format_name: str, options: WriteOptions, *, overwrite: bool
) -> tuple[Problem, ...]:
    from exchange.formats.writing import write, write_stream

    if output == "-":
        return write_stream(packet, sys.stdout.buffer, host=host, format_name=format_name, options=options)
    return write(packet, output, host=host, options=options, format_name=format_name, overwrite=overwrite)


def _report(files: tuple[str, ...], output: str, packet: Packet, problems: tuple[Problem, ...]) -> dict[str, Any]:
    return {
        "version": 1,
        "files": list(files),
        "output": output,
        "counts": packet.counts(),
        "problems": [problem.as_dict() for problem in problems],
    }
