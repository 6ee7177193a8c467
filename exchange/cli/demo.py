"""``exchange demo``: the invented fire, through every command that exists."""

from __future__ import annotations

import shlex
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from exchange.cli.console import say
from exchange.cli.main import FAILED, NEEDS_PERSON, run
from exchange.cli.options import overwrite_option

if TYPE_CHECKING:
    from exchange.demo_fire import WrittenFile

CAUTION = """\
All of it is invented: no such fire, crew, aircraft or place exists. Never fly or walk by these files.
On a real fire the incident's command, licensed practice and local rules decide."""


@click.command("demo", epilog="Example: exchange demo marrow-flat")
@click.argument("folder", metavar="DIR", type=click.Path(path_type=Path))
@overwrite_option
@click.pass_context
def command(ctx: click.Context, /, *, folder: Path, overwrite: bool) -> None:
    """Write the invented Marrow Flat fire into DIR and run every command on it."""
    from exchange.demo_fire import write_marrow_flat

    say(f"The Marrow Flat fire, five sorties of three aircraft, goes into {folder}.\n{CAUTION}\n")
    written = write_marrow_flat(folder, overwrite=overwrite)
    for file in written:
        say(f"  {file.path.relative_to(folder)}: {file.about}")
    failed = [
        arguments for words, arguments in plan(written, folder, overwrite=overwrite) if not _show(words, arguments)
    ]
    say(f"\n{'Some commands failed, see above.' if failed else 'Done.'} The files are in {folder}.")
    ctx.exit(FAILED if failed else 0)


def plan(written: Sequence[WrittenFile], folder: Path, *, overwrite: bool) -> Iterator[tuple[str, list[str]]]:
    """Yield what the demonstration says and the command that follows, in the order of work."""
    replace = ["--overwrite"] if overwrite else []
    yield "What can be read and written here:", ["formats"]
    for file in (file for file in written if file.role in ("sortie", "track")):
        yield f"{file.about}", ["inspect", str(file.path), *file.options]
    merged = folder / "exchanged"
    merged.mkdir(exist_ok=True)
    parts = []
    for file in (file for file in written if file.role == "sortie"):
        part = merged / f"{file.path.stem}.geojson"
        parts.append(str(part))
        yield "Each sortie in one common form:", ["convert", str(file.path), *file.options, "-o", str(part), *replace]
    for name, words in _OUTPUTS.items():
        yield words, ["convert", *parts, "-o", str(merged / name), *replace]


_OUTPUTS = {
    "all-sorties.kmz": "All sorties for a map program, icons inside:",
    "all-sorties.gpx": "All sorties for handhelds:",
    "all-sorties.csv": "All sorties for a spreadsheet:",
    "all-sorties.gpkg": "All sorties for a GIS:",
}


def _show(words: str, arguments: list[str]) -> bool:
    say(f"\n{words}\n$ exchange {shlex.join(arguments)}")
    code = run(arguments)
    if code == NEEDS_PERSON:
        say("(exit code 3: done, but something was skipped or needs a person)")
    return code in (0, NEEDS_PERSON)
