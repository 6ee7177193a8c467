"""What ``exchange merge`` says to a person, and its report for ``--json``."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import click

from exchange.cli.console import say

if TYPE_CHECKING:
    from exchange.merge import Merged, MergeReport, SortieReport
    from exchange.merge.explain import Explanation
    from exchange.model import Detections, Problem

CAUTION = """\
The list is an aid: a spot in it may be none, and heat that no sortie saw is not in it. Not seen again does not mean
out; out is the word of the people who stand at it. The incident's command, licensed practice and local rules decide."""

_HEADINGS = ("sortie", "seen", "known", "new", "repeats", "good to", "shift", "")


def tell_merge(report: MergeReport, spots: Detections, output: str, picture: str | None) -> None:
    """Say the table of sorties, what is flagged, and the caution."""
    for line in _to_table([_HEADINGS, *map(_describe_sortie, report.sorties)]):
        say(f"  {line}")
    say(_count_spots(report))
    if again := _count_not_seen_again(spots):
        say(f"{again} spots lie in a later sortie's coverage and were not seen again: a hint where to look, no more")
    if report.flagged:
        say(f"check: {report.flagged} spots want a person's eye")
        for flag, count in report.flags.items():
            say(f"  {count:>5}  {flag}")
    if picture:
        say(f"{picture}: drawn")
    if output:
        say(f"{'standard output' if output == '-' else output}: {len(spots)} spots")
    say(CAUTION)


def tell_explanations(explanations: Sequence[Explanation], *, to_stdout: bool) -> None:
    """Print why the sightings asked for are one spot."""
    for explanation in explanations:
        for line in explanation.lines():
            click.echo(line, err=not to_stdout)


def to_report(
    files: tuple[str, ...],
    output: str,
    merged: Merged,
    spots: Detections,
    explanations: Sequence[Explanation],
    problems: tuple[Problem, ...],
) -> dict[str, Any]:
    """Return the report of ``--json``."""
    from exchange.model import gather_problems

    told = merged.report.as_dict()
    return {
        **told,
        "version": 1,
        "files": list(files),
        "output": output or None,
        "not_seen_again": _count_not_seen_again(spots),
        "explained": [explanation.as_dict() for explanation in explanations],
        "problems": [problem.as_dict() for problem in gather_problems(problems)],
    }


def _describe_sortie(one: SortieReport) -> tuple[str, ...]:
    estimated = "~" if one.accuracy_estimated else ""
    good_to = f"{estimated}{one.accuracy_m:.1f} m" if math.isfinite(one.accuracy_m) else "unknown"
    found = math.isfinite(one.shift_east_m) and math.isfinite(one.shift_north_m)
    length = f"{math.hypot(one.shift_east_m, one.shift_north_m):.1f} m" if found and one.shift_applied else "none"
    counts = (one.sightings, one.matched, one.new, one.repeats)
    return (one.sortie or "(none named)", *map(str, counts), good_to, length, one.remark)


def _count_spots(report: MergeReport) -> str:
    text = f"{report.spots} spots of {report.sightings} sightings: {report.kept} numbers kept, {report.new} new"
    text += f", {report.joined} folded into another" if report.joined else ""
    text += f", {report.divided} divided" if report.divided else ""
    return text + (f"; {report.without_position} sightings have no position" if report.without_position else "")


def _count_not_seen_again(spots: Detections) -> int:
    from exchange.merge.coverage import NOT_SEEN_AGAIN

    column = spots.extra.get(NOT_SEEN_AGAIN)
    return 0 if column is None else sum(1 for count in column.tolist() if count)


def _to_table(rows: Sequence[Sequence[str]]) -> list[str]:
    widths = [max(len(row[column]) for row in rows) for column in range(len(rows[0]))]
    lines = []
    for row in rows:
        cells = [row[0].ljust(widths[0]), *(cell.rjust(w) for cell, w in zip(row[1:-1], widths[1:-1], strict=True))]
        lines.append("  ".join([*cells, row[-1]]).rstrip())
    return lines
