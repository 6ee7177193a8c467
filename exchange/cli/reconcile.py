"""``exchange reconcile``: what came back from the field onto the numbered list."""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

import click
import numpy as np

from exchange.cli.console import load_host, open_inputs, say, show_progress, to_printable
from exchange.cli.main import NEEDS_PERSON
from exchange.cli.options import json_option, overwrite_option, reading_options, to_read_options
from exchange.cli.reconcile_words import Outcome, report_outcome, tell_outcome
from exchange.errors import OptionError, ReadError

if TYPE_CHECKING:
    from exchange.formats.host import Host
    from exchange.formats.options import ReadOptions
    from exchange.model import Packet, Problem
    from exchange.model.manifest import Manifest
    from exchange.status import PlaceOptions, SettleOptions, StatusWords


@click.command(
    "reconcile",
    epilog="Example: exchange reconcile alder.gpx office.kml --onto list.geojson --manifest manifest.csv -o now.gpx",
)
@click.argument("files", nargs=-1, required=True, metavar="RETURNED...")
@click.option("--onto", "list_file", metavar="LIST", default="", help="The numbered list, with the reports so far.")
@click.option("--ledger", metavar="FILE", default="", help="The incident's ledger, instead of --onto and -o.")
@click.option("-o", "--output", metavar="OUT", default="", help="The list as it stands now; '-' is standard output.")
@click.option("--to", "target_format", metavar="FORMAT", default="", help="Format of the output; needed for '-o -'.")
@click.option("--manifest", "manifests", metavar="FILE", multiple=True, help="Manifest of what was handed out.")
@click.option("--words", metavar="TOML", default="", help="Further words, symbols and colours, and what they mean.")
@click.option("--reach", type=float, metavar="METRES", help="How near a mark must be to its spot. [default: 15]")
@click.option(
    "--same-time", type=float, metavar="MINUTES", help="Reports this near in time count as of one time. [default: 15]"
)
@click.option("--observed", metavar="TIME", default="", help="When undated reports were made: 2026-08-14T18:30Z.")
@click.option("--received", metavar="TIME", default="", help="When the returns came in: no report can be later.")
@click.option("--author", default="", help="Who made the reports that name nobody.")
@click.option(
    "--signs-meant",
    is_flag=True,
    help="Take a symbol, colour or time for the crew's though nearly all marks of a file carry the same.",
)
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
    ledger: str,
    output: str,
    target_format: str,
    overwrite: bool,
    as_json: bool,
    format_name: str,
    **values: Any,
) -> None:
    """Put what came back in RETURNED files onto the numbered list, and tell what a person must look at.

    The output is the list with its current status and every report so far, those included that found no spot. A mark
    that came back as it was handed out is no report. Exit code 3: done, and a person must look at something.
    """
    from exchange.cli.outputs import check_outputs

    _check_targets(list_file, ledger, output)
    if output:
        check_outputs(output, inputs=files, target_format=target_format, overwrite=overwrite, as_json=as_json)
    work = _Work(files, format_name, load_host(), values)
    target = _Target(list_file, output, target_format, overwrite)
    outcome = work.put_into(ledger) if ledger else work.put_onto(target)
    if as_json:
        report_outcome(outcome, files)
    else:
        tell_outcome(outcome)
    ctx.exit(NEEDS_PERSON if outcome.needs_person else 0)


def _check_targets(list_file: str, ledger: str, output: str) -> None:
    if ledger and (list_file or output):
        raise OptionError("a ledger holds list and reports itself", field="--ledger", remedy="Leave out --onto and -o.")
    if not ledger and not (list_file and output):
        raise OptionError(
            "nothing says where the reports belong", remedy="Give --onto LIST and -o OUT, or --ledger FILE."
        )


class _Target(NamedTuple):
    """Hold which list the reports come onto, and where it goes."""

    list_file: str
    output: str
    format_name: str
    overwrite: bool


class _Work:
    """Returned files with everything that is stated about them.

    Parameters
    ----------
    files, format_name, host
        What to read, and with what.
    values
        The options of the command that say how to understand them.
    """

    def __init__(self, files: Sequence[str], format_name: str, host: Host, values: dict[str, Any]) -> None:
        self.files, self.format_name, self.host = _drop_repeated(files), format_name, host
        self.manifests = _read_manifests(values.pop("manifests"))
        self.words = _read_words(values.pop("words"))
        self.place_options = _to_place_options(values)
        self.settle_options = _to_settle_options(values)
        self.reading = to_read_options(values)

    def put_onto(self, target: _Target) -> Outcome:
        """Put the returns onto a list, and write it."""
        from exchange.model import gather_problems
        from exchange.status import add_notes, place_returns, settle_status

        listed = _read_list(target.list_file, self.host, self.reading)
        manifest = _join_manifests(self.manifests, listed)
        returned = self._read_returned()
        placed = place_returns(
            returned, listed.detections, manifests=manifest, words=self.words, options=self.place_options
        )
        notes = add_notes(listed.notes, placed.notes)
        settled = settle_status(listed.detections, notes, options=self.settle_options)
        result = listed.replace(detections=settled.spots, notes=notes)
        losses = _write(result, target, self.host)
        return Outcome(
            onto=target.list_file,
            output=target.output,
            placed=(placed,),
            spots=settled.spots,
            questions=placed.questions().with_others(settled.questions()),
            problems=gather_problems((*listed.problems, *returned.problems, *_tell_left_out(returned), *losses)),
        )

    def put_into(self, ledger: str) -> Outcome:
        """Put the returns into a ledger in one act."""
        from exchange.cli.ledger import command_line, say_waiting
        from exchange.incident.reconciling import ReturnOptions, reconcile_files
        from exchange.model import gather_problems

        returns = ReturnOptions(
            words=self.words,
            place=self.place_options,
            settle=self.settle_options,
            manifests=_join_manifests(self.manifests),
        )
        with open_inputs(self.files, format_name=self.format_name) as inputs:
            done = reconcile_files(
                Path(ledger), inputs, host=self.host, options=self.reading, format_name=self.format_name,
                returns=returns, command=command_line(), on_wait=say_waiting, passing=show_progress,
            )  # fmt: skip
        return Outcome(
            onto=ledger,
            output=ledger,
            placed=done.placed,
            spots=done.spots,
            questions=done.questions,
            problems=gather_problems(problem for one in done.added for problem in one.problems),
        )

    def _read_returned(self) -> Packet:
        from exchange.formats.reading import read_packets
        from exchange.model import Packet

        with open_inputs(self.files, format_name=self.format_name) as inputs:
            returned = Packet.join(
                packet
                for file in inputs
                for packet in show_progress(
                    read_packets(file, host=self.host, options=self.reading, format_name=self.format_name), file.name
                )
            )
        if not (len(returned.detections) or len(returned.notes) or len(returned.places)):
            held = ", ".join(f"{count} {kind}" for kind, count in returned.counts().items() if count)
            raise ReadError(
                f"no report in {', '.join(map(to_printable, self.files))}, but {held or 'nothing'}",
                remedy="Give what the crews sent back; nothing was written.",
            )
        return returned


def _drop_repeated(files: Sequence[str]) -> list[str]:
    """Return the files without those that are named twice: each report was made once."""
    kept: dict[str, str] = {}
    for name in files:
        place = name if name == "-" else os.path.realpath(name)
        if place in kept:
            say(f"note: {to_printable(name)} is given twice; it is read once")
        kept.setdefault(place, name)
    return list(kept.values())


def _tell_left_out(returned: Packet) -> list[Problem]:
    """Tell what came back beside the reports and is no part of a list."""
    from exchange.model import Problem

    counts = {"tracks": len(returned.tracks), "perimeters": len(returned.perimeters)}
    remedy = "Keep the returned file, or put it into a ledger, which takes them."
    return [
        Problem(message=f"{kind} that came back are no reports and are not carried on", severity="note", count=count,
                remedy=remedy)
        for kind, count in counts.items()
        if count
    ]  # fmt: skip


def _to_place_options(values: dict[str, Any]) -> PlaceOptions:
    from exchange.status import REACH_M, PlaceOptions

    reach = values.pop("reach")
    return PlaceOptions(
        reach_m=REACH_M if reach is None else reach,
        observed=_to_instant(values.pop("observed"), "--observed"),
        received=_to_instant(values.pop("received"), "--received"),
        author=values.pop("author"),
        signs_are_meant=values.pop("signs_meant"),
    )


def _to_settle_options(values: dict[str, Any]) -> SettleOptions | None:
    """Return the span that is asked for; without one a ledger keeps the one it has."""
    from exchange.status import SettleOptions

    minutes = values.pop("same_time")
    return None if minutes is None else SettleOptions(same_time_minutes=minutes)


def _to_instant(text: str, option: str) -> np.datetime64:
    from exchange.formats.time_text import parse_times

    parsed = parse_times([text])
    if len(parsed.without_zone) or len(parsed.unreadable):
        raise OptionError(
            f"{text!r} is no instant", field=option, remedy="Write it with its zone: 2026-08-14T18:30-06:00."
        )
    return np.datetime64(parsed.time[0], "ms")


def _read_words(path: str) -> StatusWords:
    from exchange.status import StatusWords

    shipped = StatusWords.shipped()
    return shipped.with_file(path) if path else shipped


def _read_manifests(paths: tuple[str, ...]) -> dict[str, Manifest]:
    from exchange.formats.manifest_file import read_manifest

    return {path: read_manifest(path) for path in paths}


def _join_manifests(manifests: dict[str, Manifest], listed: Packet | None = None) -> Manifest | None:
    """Return all manifests as one; one that names no spot of the list was made for another list."""
    from exchange.model.manifest import Manifest
    from exchange.model.spot_number import find_aliases

    known = {*listed.detections.id.tolist(), *find_aliases(listed.detections)} if listed else set()
    for path, manifest in manifests.items():
        if listed and len(manifest) and known.isdisjoint(manifest.number.tolist()):
            raise OptionError(
                f"names {manifest.number[0]} and no spot of the list",
                path=path,
                field="--manifest",
                remedy="Give the manifest that was written when this list was handed out, or leave it out.",
            )
    return Manifest.join(list(manifests.values())) if manifests else None


def _read_list(path: str, host: Host, options: ReadOptions) -> Packet:
    from exchange.formats.reading import read

    if path == "-":
        raise OptionError("the list cannot come from standard input", field="--onto", remedy="Give it as a file.")
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


def _write(packet: Packet, target: _Target, host: Host) -> tuple[Problem, ...]:
    from exchange.formats.writing import write, write_stream

    if target.output == "-":
        return write_stream(packet, sys.stdout.buffer, host=host, format_name=target.format_name)
    return write(packet, target.output, host=host, format_name=target.format_name, overwrite=target.overwrite)
