"""``exchange reconcile``: what came back from the field onto the numbered list."""

from __future__ import annotations

import sys
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click
import numpy as np

from exchange.cli.console import SHOWN_PROBLEMS, load_host, open_inputs, print_report, say, show_progress, tell_problems
from exchange.cli.main import NEEDS_PERSON
from exchange.cli.options import json_option, output_option, overwrite_option, reading_options, to_read_options
from exchange.errors import OptionError

if TYPE_CHECKING:
    from exchange.formats.host import Host
    from exchange.formats.options import ReadOptions
    from exchange.model import Packet, Problem
    from exchange.model.manifest import Manifest
    from exchange.status import Placed, PlaceOptions, Questions, SettleOptions, StatusWords

CAUTION = """What stands in the list is what people reported, no proof that a spot is out. Look before anybody
relies on it; the incident's command, licensed practice and local rules decide."""


@click.command(
    "reconcile",
    epilog="Example: exchange reconcile alder.gpx office.kml --onto list.geojson --manifest manifest.csv -o now.gpx",
)
@click.argument("files", nargs=-1, required=True, metavar="RETURNED...")
@click.option("--onto", "list_file", required=True, metavar="LIST", help="The numbered list, with the notes so far.")
@output_option
@click.option("--to", "target_format", metavar="FORMAT", default="", help="Format of the output; needed for '-o -'.")
@click.option("--manifest", "manifests", metavar="FILE", multiple=True, help="Manifest of what was handed out.")
@click.option("--words", metavar="TOML", default="", help="Further words, symbols and colours, and what they mean.")
@click.option("--reach", type=float, metavar="METRES", help="How near a mark must be to its spot. [default: 15]")
@click.option(
    "--same-time",
    type=float,
    metavar="MINUTES",
    help="Reports this near in time count as of one time. [default: 15]",
)
@click.option(
    "--observed", metavar="TIME", default="", help="When reports without a time were made: 2026-08-14T18:30Z."
)
@click.option("--author", default="", help="Who made the reports that name nobody.")
@overwrite_option
@json_option
@reading_options
@click.pass_context
def command(
    ctx: click.Context,
    /,
    *,
    files: tuple[str, ...],
    list_file: str,
    output: str,
    target_format: str,
    manifests: tuple[str, ...],
    words: str,
    overwrite: bool,
    as_json: bool,
    format_name: str,
    **values: Any,
) -> None:
    """Put what came back in RETURNED files onto the numbered list, and tell what a person must look at.

    The output is the list with its current status and every report so far, those included that found no spot. A mark
    that came back as it was handed out is no report. Exit code 3: done, and a person must look at something.
    """
    from exchange.model import gather_problems
    from exchange.status import add_notes, place_returns, settle_status

    _check_output(output, target_format, overwrite=overwrite, as_json=as_json)
    place_options, settle_options = _to_place_options(values), _to_settle_options(values)
    table, host, reading = _read_words(words), load_host(), to_read_options(values)
    returned = _read_returned(files, host, format_name, reading)
    listed = _read_list(list_file, host, reading)
    placed = place_returns(
        returned, listed.detections, manifests=_read_manifests(manifests), words=table, options=place_options
    )
    notes = add_notes(listed.notes, placed.notes)
    settled = settle_status(listed.detections, notes, options=settle_options)
    result = listed.replace(detections=settled.spots, notes=notes)
    losses = _write(result, output, host, target_format, overwrite=overwrite)
    problems = gather_problems((*listed.problems, *returned.problems, *losses))
    questions = placed.questions().with_others(settled.questions())
    if as_json:
        print_report(_report(files, list_file, output, placed, result, questions, problems))
    else:
        tell_problems(problems)
        _tell(output, placed, result, questions)
    needs_person = len(questions) or any(problem.needs_person for problem in problems)
    ctx.exit(NEEDS_PERSON if needs_person else 0)


def _check_output(output: str, target_format: str, *, overwrite: bool, as_json: bool) -> None:
    from exchange.formats.writing import refuse_existing

    if output != "-":
        refuse_existing(Path(output), overwrite=overwrite)
    elif as_json:
        raise OptionError("standard output cannot carry both the data and the report", field="--json")
    elif not target_format:
        raise OptionError("standard output has no name to tell its format", remedy="Say it with --to FORMAT.")


def _to_place_options(values: dict[str, Any]) -> PlaceOptions:
    from exchange.status import REACH_M, PlaceOptions

    reach, observed = values.pop("reach"), values.pop("observed")
    return PlaceOptions(
        reach_m=REACH_M if reach is None else reach,
        observed=_to_instant(observed),
        received=np.datetime64(datetime.now(UTC).replace(tzinfo=None), "ms"),
        author=values.pop("author"),
    )


def _to_settle_options(values: dict[str, Any]) -> SettleOptions:
    from exchange.status import SAME_TIME_MINUTES, SettleOptions

    minutes = values.pop("same_time")
    return SettleOptions(same_time_minutes=SAME_TIME_MINUTES if minutes is None else minutes)


def _to_instant(text: str) -> np.datetime64:
    from exchange.formats.time_text import parse_times

    parsed = parse_times([text])
    if len(parsed.without_zone) or len(parsed.unreadable):
        raise OptionError(
            f"{text!r} is no instant", field="--observed", remedy="Write it with its zone: 2026-08-14T18:30-06:00."
        )
    return np.datetime64(parsed.time[0], "ms")


def _read_words(path: str) -> StatusWords:
    from exchange.status import StatusWords

    shipped = StatusWords.shipped()
    return shipped.with_file(path) if path else shipped


def _read_manifests(paths: tuple[str, ...]) -> Manifest | None:
    from exchange.formats.manifest_file import read_manifest
    from exchange.model.manifest import Manifest

    return Manifest.join([read_manifest(path) for path in paths]) if paths else None


def _read_returned(files: tuple[str, ...], host: Host, format_name: str, options: ReadOptions) -> Packet:
    from exchange.formats.reading import read_packets
    from exchange.model import Packet

    with open_inputs(files, format_name=format_name) as inputs:
        return Packet.join(
            packet
            for file in inputs
            for packet in show_progress(
                read_packets(file, host=host, options=options, format_name=format_name), file.name
            )
        )


def _read_list(path: str, host: Host, options: ReadOptions) -> Packet:
    from dataclasses import replace

    from exchange.formats.reading import read

    listed = read(path, host=host, options=replace(options, layers=(), points_as="", rows_as_track=False))
    if not (listed.detections.id != "").any():
        what = "its spots carry no numbers" if len(listed.detections) else "holds no spots"
        raise OptionError(
            what,
            path=path,
            field="--onto",
            remedy="Name their column in a --columns file, or merge first.",
        )
    return listed


def _write(packet: Packet, output: str, host: Host, format_name: str, *, overwrite: bool) -> tuple[Problem, ...]:
    from exchange.formats.writing import write, write_stream

    if output == "-":
        return write_stream(packet, sys.stdout.buffer, host=host, format_name=format_name)
    return write(packet, output, host=host, format_name=format_name, overwrite=overwrite)


def _tell(output: str, placed: Placed, result: Packet, questions: Questions) -> None:
    held = _count_reports(placed)
    say(
        f"{'standard output' if output == '-' else output}: {', '.join(f'{n} {what}' for what, n in held.items() if n)}"
    )
    say("status: " + ", ".join(f"{count} {word}" for word, count in _count_status(result).items()))
    for question in questions.as_lines(SHOWN_PROBLEMS):
        say(question)
    if len(questions) > SHOWN_PROBLEMS:
        say(f"... and {len(questions) - SHOWN_PROBLEMS} more for a person to look at; --json lists all")
    say(CAUTION)


def _count_reports(placed: Placed) -> dict[str, int]:
    applied = int((placed.notes.detection != "").sum())
    return {
        "reports on spots": applied,
        "reports kept aside": len(placed.notes) - applied,
        "marks that say nothing new": placed.silent,
        "places": placed.aside,
    }


def _count_status(result: Packet) -> dict[str, int]:
    from exchange.model.priority import STATUS_ORDER

    status = result.detections.status.tolist()
    counts = {word: status.count(word) for word in STATUS_ORDER} | {"without a status": status.count("")}
    return {word: count for word, count in counts.items() if count}


def _report(
    files: tuple[str, ...],
    list_file: str,
    output: str,
    placed: Placed,
    result: Packet,
    questions: Questions,
    problems: tuple[Problem, ...],
) -> dict[str, Any]:
    counts = _count_reports(placed).values()
    return {
        "version": 1,
        "files": list(files),
        "list": list_file,
        "output": output,
        "reports": dict(zip(("on_spots", "kept_aside", "nothing_new", "places"), counts, strict=True)),
        "status": _count_status(result),
        "questions": questions.as_dicts(),
        "question_counts": questions.counts(),
        "problems": [problem.as_dict() for problem in problems],
        "caution": CAUTION,
    }
