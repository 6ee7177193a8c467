"""``exchange merge``: what several sorties saw, as one numbered list whose numbers stay."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from exchange.cli.console import load_host, print_report, tell_problems
from exchange.cli.main import NEEDS_PERSON
from exchange.cli.merge_inputs import MergeSettings, ReadBeside, read_sightings
from exchange.cli.merge_ledger import merge_into_ledger
from exchange.cli.merge_outputs import MergeOutputs, MergeWork
from exchange.cli.merge_words import tell_explanations, tell_merge, to_report
from exchange.cli.options import json_option, overwrite_option, reading_options, to_read_options

if TYPE_CHECKING:
    from exchange.formats.host import Host
    from exchange.formats.options import ReadOptions
    from exchange.merge import Merged
    from exchange.merge.coverage import Coverage
    from exchange.merge.explain import Explanation
    from exchange.model import Detections, Packet, Problem


@click.command(
    "merge",
    epilog="Example: exchange merge d1.kml n1.csv --assume-tz UTC --onto yesterday.geojson -o today.geojson",
)
@click.argument("files", nargs=-1, metavar="FILE...")
@click.option("--ledger", metavar="LEDGER", default="", help="Add FILES to this ledger, and merge all that it has.")
@click.option("-o", "--output", metavar="OUT", default="", help="The list; '-' is standard output.")
@click.option("--to", "target_format", metavar="FORMAT", default="", help="Format of the list; needed for '-o -'.")
@click.option("--onto", metavar="EARLIER", help="Earlier list whose numbers are kept.")
@click.option("--onto-sightings", metavar="FILE", help="What --sightings wrote beside the earlier list.")
@click.option("--within", metavar="LENGTH", help="Never one spot farther apart than this: 5m or 15ft; else metres.")
@click.option("--accuracy", metavar="LENGTH", help="Radius that holds 95 in 100, where a file states none.")
@click.option("--no-shift", is_flag=True, help="Take each sortie's positions as they are.")
@click.option("--control", metavar="FILE", help="Surveyed points, or a trusted sortie, that fix the shifts.")
@click.option("--sortie-from", type=click.Choice(("file", "folder", "layer")), default="file", show_default=True,
              help="What names the sortie of rows that name none.")  # fmt: skip
@click.option("--coverage", metavar="FILE", multiple=True, help="What each sortie covered: polygons or flown tracks.")
@click.option("--swath", metavar="LENGTH", help="Width that the camera showed along a flown track; else metres.")
@click.option("--perimeter", metavar="FILE", help="Perimeter that priority and distance to the edge go by.")
@click.option("--cells", metavar="LENGTH", help="Work in cells of this side over Dask, for millions of sightings.")
@click.option("--scheduler", metavar="ADDRESS", help="Let the cluster of this Dask scheduler work on the cells.")
@click.option("--series", metavar="LETTERS", default="H", show_default=True, help="Letters before a new number.")
@click.option("--sightings", metavar="FILE", help="Write every sighting with its origin and its spot.")
@click.option("--picture", metavar="OUT.png", help="Draw sightings, spots, shifts and what is flagged.")
@click.option("--explain", metavar="NUMBER", multiple=True, help="Tell why the sightings of this spot are one spot.")
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
    ledger: str,
    sightings: str | None,
    picture: str | None,
    explain: tuple[str, ...],
    overwrite: bool,
    as_json: bool,
    format_name: str,
    **values: Any,
) -> None:
    """Fold the hotspots in FILES into one list, in which each stands once under a number that stays.

    Markers that are no hotspot go through as places. What the data cannot decide is flagged; then the exit code is 3.
    A length without a unit is metres. With --ledger the list is kept there and -o writes it too; FILES may be none.
    """
    outputs = MergeOutputs(output, target_format, sightings, picture, overwrite=overwrite)
    outputs.check(files, as_json=as_json, explains=bool(explain or ledger))
    if not files and not ledger:
        raise click.MissingParameter(param_hint="FILE...", param_type="argument", ctx=ctx)
    settings, host = MergeSettings.take(values), load_host()
    options = to_read_options(values)
    if ledger:
        work = merge_into_ledger(ledger, files, settings, host, options, format_name)
    else:
        work = _merge(read_sightings(files, host, format_name, options), settings, host, options)
    explanations = [_explain(work.merged, number) for number in explain]
    losses = outputs.write(work, host)
    problems = (*work.problems, *losses)
    if as_json:
        print_report(to_report(files, output, work.merged, work.spots, explanations, problems))
    else:
        tell_problems(problems)
        tell_merge(work.merged.report, work.spots, output, picture)
        tell_explanations(explanations, to_stdout=output != "-")
    needs_person = work.merged.report.flagged or any(problem.needs_person for problem in problems)
    ctx.exit(NEEDS_PERSON if needs_person else 0)


def _merge(packet: Packet, settings: MergeSettings, host: Host, options: ReadOptions) -> MergeWork:
    from exchange.merge.ranking import add_priority
    from exchange.merge.sortie_names import name_sorties

    beside = ReadBeside(host, options)
    onto, control, area = beside.read_earlier(settings), beside.read_control(settings), beside.read_area(settings)
    coverage = beside.read_coverage(settings)
    sightings, assumed = name_sorties(packet.detections, sortie_from=settings.sortie_from)
    merged = settings.merge(sightings, onto, control)
    spots, notes = _mark(merged, coverage)
    problems = (*packet.problems, *beside.problems, *assumed, *notes, *_tell_attachments(packet))
    return MergeWork(packet, merged, add_priority(spots, area), problems)


def _mark(merged: Merged, coverage: Coverage | None) -> tuple[Detections, tuple[Problem, ...]]:
    from exchange.merge.coverage import compare_names, mark_not_seen_again

    if coverage is None:
        return merged.spots, ()
    notes = compare_names(coverage, [sortie.sortie for sortie in merged.report.sorties])
    return mark_not_seen_again(merged.spots, merged.sightings, coverage), (*coverage.problems, *notes)


def _tell_attachments(packet: Packet) -> tuple[Problem, ...]:
    from exchange.model import Problem

    if not packet.attachments:
        return ()
    message = "attached files, such as icons, belong to a sortie's file and are not part of the list"
    return (Problem(message=message, severity="note", count=len(packet.attachments)),)


def _explain(merged: Merged, number: str) -> Explanation:
    from exchange.merge.explain import explain_spot

    return explain_spot(merged, number)
