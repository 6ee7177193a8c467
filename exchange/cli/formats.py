"""``exchange formats``: what can be read and written here, and which plugin does it."""

from __future__ import annotations

from typing import Any

import click

from exchange.cli.console import load_host, print_report
from exchange.cli.options import json_option
from exchange.formats.format import Format
from exchange.formats.host import OWN_DISTRIBUTION, Host


@click.command("formats", epilog="Example: exchange formats --json")
@json_option
def command(*, as_json: bool) -> None:
    """Show what can be read and written here, and which plugin does it."""
    host = load_host()
    if as_json:
        print_report(report_formats(host))
    else:
        print_table(host)


def report_formats(host: Host) -> dict[str, Any]:
    """Return the loaded formats and the record of every plugin, failed ones included."""
    return {
        "version": 1,
        "formats": [_describe(host, fmt) for _, fmt in sorted(host.formats.items())],
        "plugins": [
            {
                "name": record.name,
                "distribution": record.distribution,
                "version": record.version,
                "loaded": record.is_loaded,
                "stage": record.stage,
                "error": record.error,
                "formats": list(record.formats),
            }
            for record in host.records
        ],
    }


def _describe(host: Host, fmt: Format) -> dict[str, Any]:
    return {
        "name": fmt.name,
        "title": fmt.title,
        "suffixes": list(fmt.suffixes),
        "media_type": fmt.media_type,
        "read": fmt.can_read,
        "write": fmt.can_write,
        "holds": fmt.holds.describe(),
        "distribution": host.distribution_of(fmt),
    }


def print_table(host: Host) -> None:
    """Print the formats as a table for people, and the plugins that were left out."""
    from rich.console import Console
    from rich.table import Table

    table = Table(box=None, pad_edge=False)
    for heading in ("format", "suffixes", "", "what it is"):
        table.add_column(heading, overflow="fold")
    for described in report_formats(host)["formats"]:
        uses = [use for use in ("read", "write") if described[use]]
        table.add_row(
            described["name"], " ".join(described["suffixes"]), "/".join(uses), _describe_for_people(described)
        )
    console = Console()
    console.print(table)
    for record in host.failures():
        console.print(f"left out: {record.name} ({record.distribution}), {record.stage}: {record.error}", markup=False)


def _describe_for_people(described: dict[str, Any]) -> str:
    origin = described["distribution"]
    partly = [f"{kind} {held}" for kind, held in described["holds"].items() if held != "wholly"]
    remarks = [f"from {origin}"] if origin != OWN_DISTRIBUTION else []
    remarks += [f"holds {', '.join(partly)}"] if partly else []
    return f"{described['title']} ({'; '.join(remarks)})" if remarks else str(described["title"])
