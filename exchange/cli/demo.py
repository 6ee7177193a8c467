"""``exchange demo``: the invented fire, through every command that exists."""

from __future__ import annotations

import shlex
from pathlib import Path

import click

from exchange.cli.console import say
from exchange.cli.demo_story import Step, Story
from exchange.cli.main import FAILED, NEEDS_PERSON, run
from exchange.cli.options import overwrite_option

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
    story = Story(written, folder, overwrite)
    failed = [step for step in story.steps() if not _show(step)]
    say(f"\n{'Some commands failed, see above.' if failed else 'Done.'} The files are in {folder}.")
    ctx.exit(FAILED if failed else 0)


def _show(step: Step) -> bool:
    say(f"\n{step.words}\n$ exchange {shlex.join(step.arguments)}")
    code = run(step.arguments)
    if code:
        say(f"(exit code {code}: {_MEANINGS.get(code, 'see above')})")
    return code in step.codes


_MEANINGS = {
    NEEDS_PERSON: "done, but something was skipped or needs a person",
    FAILED: "not done, and nothing was written",
}
