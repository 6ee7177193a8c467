"""``exchange inspect``: what is in files, and what is wrong with them."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

import click

from exchange.cli.console import load_host, open_inputs, print_report, show_progress, tell_problems
from exchange.cli.main import NEEDS_PERSON
from exchange.cli.options import files_argument, json_option, reading_options, to_read_options

if TYPE_CHECKING:
    from exchange.model import Problem
    from exchange.model.summary import Summary


@click.command("inspect", epilog="Example: exchange inspect sortie-1.kml --json")
@files_argument
@json_option
@reading_options
@click.pass_context
def command(ctx: click.Context, /, *, files: tuple[str, ...], as_json: bool, format_name: str, **reading: Any) -> None:
    """Tell what is in FILES: how many of what, where, when, by whom, and what is wrong."""
    from exchange.formats.reading import choose_format, read_packets
    from exchange.model.summary import summarise

    host = load_host()
    options = to_read_options(reading)
    reports: list[dict[str, Any]] = []
    needs_person = False
    with open_inputs(files, format_name=format_name) as inputs:
        for file in inputs:
            fmt = choose_format(file, host=host, format_name=format_name)
            batches = read_packets(file, host=host, options=options, format_name=fmt.name)
            summary = summarise(show_progress(batches, file.name))
            needs_person |= any(problem.needs_person for problem in summary.problems)
            reports.append({"file": file.name, "format": fmt.name, **summary.as_dict()})
            if not as_json:
                print_summary(file.name, fmt.title, summary)
    if as_json:
        print_report({"version": 1, "files": reports})
    ctx.exit(NEEDS_PERSON if needs_person else 0)


def print_summary(name: str, title: str, summary: Summary) -> None:
    """Print one file's summary for a person; problems go to standard error."""
    found = summary.as_dict()
    lines = {
        "format": title,
        "incident": found["incident"],
        "holds": ", ".join(f"{count:,} {kind}" for kind, count in found["counts"].items()) or "nothing",
        "where": _describe_box(found["box"]),
        "near": found["grid_reference"] and f"{found['grid_reference']} (USNG, 100 m square at the middle, WGS 84)",
        "when": _describe_times(found["first_time"], found["last_time"]),
        "heat": _describe_span(found["temperature_celsius"]),
        "sorties": _describe_names(found["sorties"]),
        "aircraft": _describe_names(found["aircraft"]),
        "status": _describe_names(found["statuses"]),
        "layers": _describe_names(found["layers"]),
        "kept aside": ", ".join(found["foreign_fields"]),
        "attached": ", ".join(found["attachments"]),
    }
    click.echo(name)
    for label, text in lines.items():
        if text:
            click.echo(f"  {label:<11}{text}")
    tell_problems(join_assumptions(summary.problems))


def join_assumptions(problems: Iterable[Problem]) -> list[Problem]:
    """Return the problems with all notes of one layer that ask for nothing and show no value as one, such as units."""
    from exchange.model import Problem

    kept: list[Problem] = []
    assumed: dict[tuple[str, str], list[Problem]] = {}
    for problem in problems:
        if problem.needs_person or problem.remedy or problem.value or not problem.field:
            kept.append(problem)
        else:
            assumed.setdefault((problem.path, problem.layer), []).append(problem)
    for (path, layer), notes in assumed.items():
        message = "; ".join(f"{note.message} (field {note.field})" for note in notes)
        kept.append(Problem(message=message, severity="note", path=path, layer=layer))
    return kept


def _describe_box(box: tuple[float, float, float, float] | None) -> str:
    if box is None:
        return ""
    west, south, east, north = box
    across = " (across the 180th meridian)" if west > east else ""
    return f"latitude {south:.5f} to {north:.5f}, longitude {west:.5f} to {east:.5f}{across}"


def _describe_times(first: str | None, last: str | None) -> str:
    if first is None or last is None:
        return ""
    return f"{first} to {last} (UTC)" if first != last else f"{first} (UTC)"


def _describe_span(span: list[float] | None) -> str:
    return "" if span is None else f"{span[0]:.1f} to {span[1]:.1f} degrees Celsius"


def _describe_names(counts: dict[str, int], shown: int = 12) -> str:
    names = [f"{name} ({count:,})" for name, count in counts.items()]
    more = [f"and {len(names) - shown} more"] if len(names) > shown else []
    return ", ".join([*names[:shown], *more])
