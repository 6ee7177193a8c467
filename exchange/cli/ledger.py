"""``exchange ledger``: the incident's own file."""

from __future__ import annotations

import sys
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from exchange.cli.console import load_host, open_inputs, print_report, say, show_progress, tell_problems, to_printable
from exchange.cli.main import FAILED, NEEDS_PERSON
from exchange.cli.options import (
    files_argument,
    json_option,
    output_option,
    overwrite_option,
    reading_options,
    to_read_options,
)
from exchange.errors import OptionError

if TYPE_CHECKING:
    from exchange.model import Packet, Problem

ledger_argument = click.argument("ledger", metavar="LEDGER", type=click.Path(path_type=Path))
as_of_option = click.option("--as-of", metavar="TIME", default="", help="What was known then: 2026-08-14T18:30-06:00.")


@click.group("ledger", epilog="Example: exchange ledger show marrow-flat.gpkg")
def command() -> None:
    """Keep an incident's sources, list, reports and every act in one file that any GIS opens."""


@command.command("start", epilog='Example: exchange ledger start marrow-flat.gpkg --incident "Marrow Flat"')
@ledger_argument
@click.option("--incident", default="", help="The fire's name; by default that of the file.")
@json_option
def start(ledger: Path, incident: str, as_json: bool) -> None:
    """Start a ledger; what exists is never replaced.

    Let its name end in .gpkg, so that a GIS opens it.
    """
    from exchange.ledger.act import start_ledger

    incident = to_printable(incident or ledger.stem)
    start_ledger(ledger, incident=incident, command=command_line())
    if as_json:
        print_report({"version": 1, "ledger": str(ledger), "incident": incident})
    else:
        say(f"{ledger}: the ledger of {incident} is started")


@command.command("add", epilog="Example: exchange ledger add marrow-flat.gpkg d1.kml n1.csv --assume-tz UTC")
@ledger_argument
@files_argument
@json_option
@reading_options
@click.pass_context
def add(
    ctx: click.Context, /, *, ledger: Path, files: tuple[str, ...], as_json: bool, format_name: str, **reading: Any
) -> None:
    """Add FILES in one act; one that is in the ledger already changes nothing.

    The list is made from them by: exchange merge --ledger LEDGER.
    """
    from exchange.incident.adding import add_files, report_added

    host, options = load_host(), to_read_options(reading)
    with open_inputs(files, format_name=format_name) as inputs:
        added = add_files(
            ledger, inputs, host=host, options=options, format_name=format_name, command=command_line(),
            on_wait=say_waiting, passing=show_progress,
        )  # fmt: skip
    problems = tuple(problem for one in added for problem in one.problems)
    if as_json:
        print_report({"version": 1, "ledger": str(ledger), "added": [report_added(one) for one in added]})
    else:
        tell_problems(problems)
        for one in added:
            held = ", ".join(f"{count:,} {kind}" for kind, count in one.counts.items() if count) or "nothing"
            say(f"{one.name}: {f'source {one.source}, {held}' if one.is_new else 'no change'}")
    leave(ctx, problems)


@command.command("withdraw", epilog="Example: exchange ledger withdraw marrow-flat.gpkg n3_spots.geojson")
@ledger_argument
@click.argument("source", metavar="SOURCE")
@json_option
def withdraw(ledger: Path, source: str, as_json: bool) -> None:
    """Take SOURCE out again, by number or name, and make anew what rested on it.

    Nothing is deleted: 'show --as-of' still tells what was known. Spots that other sources show keep their numbers.
    """
    from exchange.incident.withdrawing import withdraw_source

    withdrawn = withdraw_source(ledger, source, command=command_line(), on_wait=say_waiting)
    change = {name: list(numbers) for name, numbers in vars(withdrawn.change).items()}
    if as_json:
        print_report({"version": 1, "ledger": str(ledger), "withdrawn": withdrawn.source.name,
                      "sightings": withdrawn.sightings, "notes": withdrawn.notes, "list": change})  # fmt: skip
        return
    say(f"{withdrawn.source.name}: withdrawn, {withdrawn.sightings:,} sightings, {withdrawn.notes:,} notes")
    for word, numbers in change.items():
        if numbers:
            more = f" and {len(numbers) - SHOWN_NUMBERS} more" if len(numbers) > SHOWN_NUMBERS else ""
            say(f"spots {word}: {', '.join(numbers[:SHOWN_NUMBERS])}{more}")


@command.command("show", epilog="Example: exchange ledger show marrow-flat.gpkg --as-of 2026-08-14T18:30Z")
@ledger_argument
@as_of_option
@json_option
def show(ledger: Path, as_of: str, as_json: bool) -> None:
    """Tell where the incident stands, or what was known at a time."""
    from exchange.cli.ledger_words import print_shown
    from exchange.incident.showing import report_shown, show_ledger

    shown = show_ledger(ledger, as_of=to_instant(as_of))
    if as_json:
        print_report({"version": 1, "ledger": str(ledger), **report_shown(shown)})
    else:
        print_shown(shown)
        say(CAUTION)


@command.command("check", epilog="Example: exchange ledger check marrow-flat.gpkg")
@ledger_argument
@json_option
@click.pass_context
def check(ctx: click.Context, /, *, ledger: Path, as_json: bool) -> None:
    """Check the file, the seal of every act and every rule; exit code 1 where something is wrong."""
    from exchange.ledger.check import check_ledger

    checked = check_ledger(ledger)
    if as_json:
        problems = [problem.as_dict() for problem in checked.problems]
        print_report({"version": 1, "ledger": str(ledger), "acts": checked.acts, "rows": checked.rows,
                      "copy_act": checked.copy_act, "problems": problems})  # fmt: skip
    else:
        tell_problems(checked.problems)
        copy = f"; the copy beside it is of act {checked.copy_act}" if checked.copy_act else "; no copy lies beside it"
        state = "is not as it was written" if checked.problems else "is whole"
        say(f"{ledger}: {state}, {checked.acts:,} acts, {checked.rows:,} rows{copy}")
    ctx.exit(FAILED if checked.problems else 0)


@command.command("export", epilog="Example: exchange ledger export marrow-flat.gpkg -o now.kmz")
@ledger_argument
@output_option
@click.option("--to", "target_format", metavar="FORMAT", default="", help="Format of the output; needed for '-o -'.")
@as_of_option
@click.option(
    "--layer", "layers", multiple=True, help="Only this: spots, sightings, notes, places, perimeters, tracks."
)
@overwrite_option
@json_option
@click.pass_context
def export(
    ctx: click.Context,
    /,
    *,
    ledger: Path,
    output: str,
    target_format: str,
    as_of: str,
    layers: tuple[str, ...],
    overwrite: bool,
    as_json: bool,
) -> None:
    """Write the list with notes, places, perimeters and tracks, or some layers, to any format that can hold them."""
    from exchange.cli.outputs import check_outputs
    from exchange.incident.exporting import export_ledger

    check_outputs(output, inputs=(), target_format=target_format, overwrite=overwrite, as_json=as_json)
    packet = export_ledger(ledger, as_of=to_instant(as_of), layers=layers)
    problems = write_packet(packet, output, target_format, overwrite=overwrite)
    if as_json:
        print_report({"version": 1, "ledger": str(ledger), "output": output, "counts": packet.counts(),
                      "problems": [problem.as_dict() for problem in problems]})  # fmt: skip
    else:
        tell_problems(problems)
        held = ", ".join(f"{count:,} {kind}" for kind, count in packet.counts().items() if count)
        say(f"{'standard output' if output == '-' else output}: {held or 'nothing to write'}")
    leave(ctx, problems)


@command.command("restore", epilog="Example: exchange ledger restore marrow-flat.gpkg")
@ledger_argument
def restore(ledger: Path) -> None:
    """Put the copy that lies beside a damaged ledger in its place; the damaged one is kept under another name."""
    from exchange.ledger.check import check_ledger
    from exchange.ledger.copy import restore_copy

    kept = restore_copy(ledger)
    checked = check_ledger(ledger)
    tell_problems(checked.problems)
    say(f"{ledger}: the copy of act {checked.acts} is in its place; what stood there is {kept.name}")


@command.command("migrate", epilog="Example: exchange ledger migrate marrow-flat.gpkg")
@ledger_argument
def migrate(ledger: Path) -> None:
    """Bring a ledger that an older program wrote forward to this one's form; a copy of it is kept."""
    from exchange.ledger.migration import migrate_ledger

    kept = migrate_ledger(ledger, command=command_line(), on_wait=say_waiting)
    say(f"{ledger}: {'brought forward; as it was it is kept in ' + kept.name if kept else 'no change needed'}")


SHOWN_NUMBERS = 12

CAUTION = """The list tells what was seen and reported, and is no proof that a spot is out. The incident's command,
licensed practice and local rules decide."""


def command_line() -> str:
    """Return the command line for the log."""
    return to_printable(click.get_current_context().find_object(str) or "")


def say_waiting() -> None:
    """Say that another program is writing."""
    say("another program is writing to the ledger; waiting for it")


def to_instant(text: str) -> datetime | None:
    """Return the instant that an option states, ``None`` where it states none.

    Raises
    ------
    OptionError
        When it is no instant, or has no zone.
    """
    if not text:
        return None
    from exchange.formats.time_text import parse_times

    parsed = parse_times([text])
    if len(parsed.without_zone) or len(parsed.unreadable):
        raise OptionError(
            f"{text!r} is no instant", field="--as-of", remedy="Write it with its zone: 2026-08-14T18:30-06:00."
        )
    moment: datetime = parsed.time[0].item()
    return moment.replace(tzinfo=UTC)


def write_packet(packet: Packet, output: str, target_format: str, *, overwrite: bool) -> tuple[Problem, ...]:
    """Write a packet to a file or to standard output; return what the format could not hold."""
    from exchange.formats.writing import write, write_stream

    host = load_host()
    if output == "-":
        return write_stream(packet, sys.stdout.buffer, host=host, format_name=target_format)
    return write(packet, output, host=host, format_name=target_format, overwrite=overwrite)


def leave(ctx: click.Context, problems: tuple[Problem, ...]) -> None:
    """Exit with 3 where something needs a person, else with 0."""
    ctx.exit(NEEDS_PERSON if any(problem.needs_person for problem in problems) else 0)
