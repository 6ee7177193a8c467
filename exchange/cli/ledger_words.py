"""Where an incident stands, for a person."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from exchange.cli.console import SHOWN_PROBLEMS

if TYPE_CHECKING:
    from datetime import datetime

    from exchange.incident.showing import Shown

SHOWN_ACTS = 10


def print_shown(shown: Shown) -> None:
    """Print where the incident stands: counts and status first, then sources, the last acts, and what is open."""
    click.echo(f"{shown.incident}, after act {shown.act.number} ({shown.act.kind}) of {_minute(shown.act.time)}")
    lines = {
        "holds": ", ".join(f"{count:,} {kind}" for kind, count in shown.counts.items() if count) or "nothing",
        "status": ", ".join(f"{count:,} {word or 'without a status'}" for word, count in shown.status.items()),
        "folded": ", ".join(f"{alias} into {number}" for alias, number in list(shown.aliases.items())[:SHOWN_ACTS]),
        "unmerged": _tell_unmerged(shown.counts),
    }
    for label, text in lines.items():
        if text:
            click.echo(f"  {label:<9}{text}")
    _print_list("sources", [f"{s.fid:>3}  {s.name} ({s.reader or 'made here'})" for s in shown.sources])
    acts = [f"{act.number:>3}  {_minute(act.time)}  {act.kind:<10} {act.command}" for act in shown.acts[-SHOWN_ACTS:]]
    _print_list(f"the last {len(acts)} of {len(shown.acts)} acts", acts)
    _print_list("for a person to look at", [str(f.problem).replace("\n", " ") for f in shown.findings])


def _print_list(title: str, lines: list[str]) -> None:
    if not lines:
        return
    click.echo(f"  {title}:")
    for line in lines[:SHOWN_PROBLEMS]:
        click.echo(f"    {line}")
    if len(lines) > SHOWN_PROBLEMS:
        click.echo(f"    ... and {len(lines) - SHOWN_PROBLEMS:,} more; --json lists all")


def _tell_unmerged(counts: dict[str, int]) -> str:
    left = counts["sightings"] - counts["sightings in spots"]
    return f"{left:,} sightings are part of no spot yet: exchange merge --ledger" if left else ""


def _minute(time: datetime) -> str:
    return time.strftime("%Y-%m-%dT%H:%MZ")
