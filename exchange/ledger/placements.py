"""Which spot each note speaks of; the note itself never changes."""

from __future__ import annotations

from collections.abc import Sequence
from sqlite3 import Connection

import numpy as np
from numpy.typing import NDArray

from exchange.ledger.act import Act
from exchange.ledger.history import holds_at
from exchange.ledger.rows import close_rows, insert
from exchange.ledger.spots import read_numbers


def write_placements(act: Act, notes: NDArray[np.int64], numbers: Sequence[str], found_by: Sequence[str]) -> int:
    """Say which spot each of some notes speaks of; return for how many that is new or another than before.

    Parameters
    ----------
    act
        The act that does it.
    notes
        The ``fid`` of each note, int64, shape (n,).
    numbers
        The spot's number, or empty for a note that no spot was found for.
    found_by
        How it was found, in a word.
    """
    known = read_numbers(act.connection)
    current = _read_current(act.connection)
    wanted = {
        note: (known.get(number), how) for note, number, how in zip(notes.tolist(), numbers, found_by, strict=True)
    }
    new = {note: place for note, place in wanted.items() if current.get(note, (0, None))[1] != place}
    close_rows(act.connection, "placement", [current[note][0] for note in new if note in current], act.number)
    columns = {
        "note": list(new),
        "number": [number for number, _ in new.values()],
        "found_by": [how for _, how in new.values()],
        "from_act": [act.number] * len(new),
    }
    insert(act.connection, "placement", columns, len(new))
    return len(new)


def _read_current(connection: Connection) -> dict[int, tuple[int, tuple[int | None, str]]]:
    rows = connection.execute("SELECT note, fid, number, found_by FROM placement WHERE to_act IS NULL")
    return {note: (fid, (number, how)) for note, fid, number, how in rows}


def read_placements(connection: Connection, *, at_act: int) -> dict[int, tuple[str, str]]:
    """Return, after an act, the number (or the empty text) and how it was found, by the ``fid`` of the note."""
    query = (
        "SELECT t.note, n.name, t.found_by FROM placement t LEFT JOIN number n ON n.fid = t.number"
        f" WHERE {holds_at('t')}"
    )
    return {note: (name or "", how) for note, name, how in connection.execute(query, {"act": at_act})}
