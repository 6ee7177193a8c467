"""The door of the console script: a Ctrl-C while everything is still being imported ends quietly too."""

from __future__ import annotations

import sys


def main() -> None:
    """Import the command line and run it; being stopped before it can tell so itself takes one line."""
    try:
        from exchange.cli.main import main as run_and_exit

        run_and_exit()
    except KeyboardInterrupt:
        sys.stderr.write("exchange: stopped\n")
        sys.exit(1)
