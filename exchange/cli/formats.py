"""``exchange formats``: what can be read and written here, and which plugin does it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from exchange.cli.console import load_host, print_report
from exchange.cli.options import json_option
from exchange.formats.format import Format
from exchange.formats.host import OWN_DISTRIBUTION, Host

if TYPE_CHECKING:
    from exchange.handout import Profile


@click.command("formats", epilog="Example: exchange formats --json")
@click.option("--profiles", "only_profiles", is_flag=True, help="Show the devices that lists are handed out to.")
@json_option
def command(*, only_profiles: bool, as_json: bool) -> None:
    """Show what can be read and written here, and which plugin does it."""
    host = load_host()
    if only_profiles:
        show_profiles(host, as_json=as_json)
    elif as_json:
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


def show_profiles(host: Host, *, as_json: bool) -> None:
    """Show the profiles of devices: their limits, and those of plugins that cannot be used."""
    from exchange.handout import load_profiles

    library = load_profiles(host)
    described = [describe_profile(profile) for _, profile in sorted(library.profiles.items())]
    refused = [{"name": name, "error": str(error)} for name, error in sorted(library.refused.items())]
    if as_json:
        print_report({"version": 1, "profiles": described, "refused": refused})
        return
    _print_profiles(described)
    for one in refused:
        click.echo(f"left out: {one['name']}: {one['error']}")


def describe_profile(profile: Profile) -> dict[str, Any]:
    """Return the limits of a profile by name; 0 or null is without limit."""
    return {
        "name": profile.name,
        "title": profile.title,
        "format": profile.format,
        "format_version": profile.format_version,
        "name_length": profile.name_length,
        "name_letters": profile.name_letters.spelled,
        "layout": profile.layout,
        "comment_length": profile.comment_length,
        "comment_letters": profile.comment_letters.spelled,
        "most_points": profile.most_points,
        "keeps_extensions": profile.keeps_extensions,
        "fields": list(profile.fields),
        "coordinate_forms": list(profile.coordinate_forms),
        "symbols": dict(profile.symbols),
        "file_name_length": profile.file_name_length,
        "file_name_letters": profile.file_name_letters.spelled,
        "origin": profile.origin,
    }


def _print_profiles(described: list[dict[str, Any]]) -> None:
    from rich.console import Console
    from rich.table import Table

    table = Table(box=None, pad_edge=False)
    for heading in ("profile", "format", "name", "comment", "points", "what it is"):
        table.add_column(heading, no_wrap=heading != "what it is")
    for one in described:
        name, points = (_tell_limit(one[key] or None) for key in ("name_length", "most_points"))
        comment = "columns" if one["layout"] == "columns" else _tell_limit(one["comment_length"])
        fmt = f"{one['format']} {one['format_version']}".strip()
        table.add_row(one["name"], fmt, name, comment, points, one["title"])
    Console().print(table, markup=False)


def _tell_limit(limit: int | None) -> str:
    return "any" if limit is None else str(limit)
