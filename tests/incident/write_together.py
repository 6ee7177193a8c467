"""Add files to one ledger again and again: ``python tests/incident/write_together.py FOLDER NAME TIMES``.

Run twice at once under two names, it is two writers; each line of output is one act done.
"""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from exchange.formats.reading import as_input
from exchange.incident.adding import add_files
from tests.incident.incident_kit import HOST, sortie_text


def main(folder: Path, name: str, times: int) -> None:
    """Add one file after the other."""
    for turn in range(times):
        path = folder / f"{name}-{turn}.csv"
        path.write_text(sortie_text([(float(turn), float(len(name)))], sortie=name, hour=turn % 24), encoding="utf-8")
        add_files(folder / "fire.gpkg", [as_input(path)], host=HOST, command=f"{name} {turn}")
        print(turn, flush=True)  # noqa: T201  # a program of its own


if __name__ == "__main__":
    main(Path(sys.argv[1]), sys.argv[2], int(sys.argv[3]))
