"""The ledger, as it stands or stood, as a packet for any format that can hold it."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from pathlib import Path

from exchange.ledger.database import open_to_read
from exchange.ledger.history import find_act_at
from exchange.ledger.reading import read_ledger
from exchange.model import Packet


def export_ledger(path: Path, *, as_of: datetime | None = None, layers: Sequence[str] = ()) -> Packet:
    """Return what a ledger holds in one packet.

    Parameters
    ----------
    path
        The ledger.
    as_of
        What was known at that instant, aware; by default now.
    layers
        Which layers; by default the list with notes, places, perimeters and tracks.

    Raises
    ------
    LedgerError
        When the ledger cannot be read, or was started after ``as_of``.
    OptionError
        When a layer is unknown.
    """
    at_act = None
    if as_of is not None:
        with open_to_read(path) as connection:
            at_act = find_act_at(connection, as_of, path=path)
    return Packet.join(read_ledger(path, at_act=at_act, layers=layers))
