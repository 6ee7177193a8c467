"""The ``exchange`` command: a thin group whose commands are imported only when they are called."""

from __future__ import annotations

import io
import os
import shlex
import signal
import sys
from collections.abc import Sequence
from importlib import import_module
from typing import Any

import click

from exchange import __version__
from exchange.cli.console import say
from exchange.errors import ExchangeError, OptionError

FAILED, WRONG_USAGE, NEEDS_PERSON = 1, 2, 3
"""Exit codes beside 0: a failure, wrong usage, and done but something was skipped or needs a person."""

DEBUG_VARIABLE = "EXCHANGE_DEBUG"
"""When set, an error of the program itself shows its traceback."""

COMMANDS: dict[str, str] = {
    "formats": "Show what can be read and written here, and which plugin does it.",
    "inspect": "Tell what is in FILES: how many of what, where, when, by whom, and what is wrong.",
    "convert": "Turn FILES into one file of another format, and tell what it could not hold.",
    "perimeter": "Turn the flown tracks in TRACKFILES into one clean perimeter, or tell what to fly again.",
    "merge": "Fold the hotspots in FILES into one list, in which each stands once under a number that stays.",
    "ledger": "Keep an incident's sources, list, reports and every act in one file that any GIS opens.",
    "handout": "Hand the numbered list in FILE out to devices: points that fit each, under names that lead back.",
    "reconcile": "Put what came back in RETURNED files onto the numbered list, and tell what a person must look at.",
    "demo": "Write the invented Marrow Flat fire into DIR and run every command on it.",
}
"""Every command with its one-line help, so that ``--help`` need not import them."""


class LazyGroup(click.Group):
    """A group that imports ``exchange.cli.NAME`` when NAME is called."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the names of all commands in the order of work."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import a command; ``None`` when there is none of that name."""
        if cmd_name not in COMMANDS:
            return None
        command = import_module(f"exchange.cli.{cmd_name}").command
        assert isinstance(command, click.Command)  # noqa: S101  # each command module defines one
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the list of commands without importing them."""
        with formatter.section("Commands"):
            formatter.write_dl(list(COMMANDS.items()))


@click.group(cls=LazyGroup, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="exchange")
def exchange() -> None:
    """Carry tracks, perimeters, hotspots and status notes between the files of a fire's aircraft, crews and maps.

    Data goes to the output file or, with '-o -', to standard output; every word to a person goes to standard
    error. Exit codes: 0 done, 1 a failure, 2 wrong usage, 3 done, but something was skipped or needs a person.

    The figures it gives are an aid. The incident's command, licensed practice and local rules decide.
    """


def main(arguments: Sequence[str] | None = None) -> None:
    """Run the command line and exit with its code; being told to end cleans up as Ctrl-C does."""
    signal.signal(signal.SIGTERM, signal.default_int_handler)
    sys.exit(run(arguments))


def run(arguments: Sequence[str] | None = None) -> int:
    """Run the command line and return its exit code; a closed pipe ends quietly."""
    try:
        words = sys.argv[1:] if arguments is None else list(arguments)
        # The command line goes along for the log of a ledger.
        line = shlex.join(["exchange", *words])
        code = exchange.main(words, prog_name="exchange", standalone_mode=False, obj=line)
        sys.stdout.flush()
    except BrokenPipeError:
        _silence_stdout()
        return 0
    except SystemExit:
        # Outside its standalone mode click exits for one reason only: it met the closed pipe itself.
        return 0
    except click.exceptions.Exit as stop:
        return stop.exit_code
    except click.Abort:
        return _tell("stopped", FAILED)
    except click.ClickException as error:
        return _tell_usage(error)
    except OptionError as error:
        return _tell(error, WRONG_USAGE)
    except ExchangeError as error:
        return _tell(error, FAILED)
    except OSError as error:
        return _tell_refused(error)
    except Exception as error:
        return _tell_own_failure(error)
    return code if isinstance(code, int) else 0


def _tell(error: Any, code: int) -> int:
    say(f"exchange: {error}")
    return code


def _tell_usage(error: click.ClickException) -> int:
    words = io.StringIO()
    error.show(file=words)
    say(words.getvalue().rstrip())
    return WRONG_USAGE


def _tell_refused(error: OSError) -> int:
    """Tell what the system refused: a full disk, a name too long, a right that is missing."""
    if os.environ.get(DEBUG_VARIABLE):
        raise error
    where = f"{error.filename}: " if error.filename else ""
    return _tell(f"{where}{error.strerror or error}\n  Check the name, the rights and the room on the disk.", FAILED)


def _tell_own_failure(error: Exception) -> int:
    if os.environ.get(DEBUG_VARIABLE):
        raise error
    remedy = (
        f"No file is left half-written. Set {DEBUG_VARIABLE}=1 to see where, and report it with the file if you may."
    )
    return _tell(f"a fault of this program: {type(error).__name__}: {error}\n  {remedy}", FAILED)


def _silence_stdout() -> None:
    # Python flushes stdout once more at exit, which would complain about the closed pipe.
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
