"""A ledger as an input: what stands now, or stood after an act, as packets of the model."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from sqlite3 import Connection
from typing import Any

import numpy as np
from numpy.typing import NDArray

from exchange.errors import OptionError
from exchange.ledger.contents import read_attachments, read_perimeters, read_points, read_tracks
from exchange.ledger.database import open_to_read
from exchange.ledger.history import holds_at, in_force_at, last_act, read_incident
from exchange.ledger.placements import read_placements
from exchange.ledger.spots import read_memberships, read_spots
from exchange.model import Detections, Packet, StatusNotes

LAYERS = ("spots", "sightings", "notes", "places", "perimeters", "tracks")

SPOT = "spot"
"""Foreign column of a sighting: the number of the spot it is part of."""

NAMED = "named"
"""Foreign column of a note that was placed: the name its author used, where that is not the number."""


def read_ledger(path: Path, *, at_act: int | None = None, layers: Sequence[str] = ()) -> Iterator[Packet]:
    """Read a ledger batch by batch, all of one moment.

    Parameters
    ----------
    path
        The ledger.
    at_act
        After which act; by default the last.
    layers
        Which of ``LAYERS``; by default all but the sightings, and those where there is no list yet.

    Raises
    ------
    OptionError
        When a layer is unknown.
    LedgerError
        When it cannot be opened or is no ledger.
    """
    for layer in layers:
        if layer not in LAYERS:
            raise OptionError(f"there is no layer {layer!r}", path=path, remedy=f"Layers: {', '.join(LAYERS)}.")
    with open_to_read(path) as connection:
        yield from _read(connection, last_act(connection) if at_act is None else at_act, layers)


def _read(connection: Connection, at_act: int, layers: Sequence[str]) -> Iterator[Packet]:
    spots = read_spots(connection, at_act=at_act)
    wanted = layers or [layer for layer in LAYERS if layer != "sightings" or not len(spots)]
    yield Packet(incident=read_incident(connection), detections=spots if "spots" in wanted else Detections())
    if "sightings" in wanted:
        yield from (Packet(detections=rows) for rows in read_sightings(connection, at_act=at_act))
    if "notes" in wanted:
        yield from (Packet(notes=rows) for rows, _ in read_notes(connection, at_act=at_act))
    if "places" in wanted:
        places: Any = read_points(connection, "places", at_act=at_act)
        yield from (Packet(places=rows) for rows, _ in places)
        yield Packet(attachments=read_attachments(connection, at_act=at_act))
    if "perimeters" in wanted:
        yield Packet(perimeters=read_perimeters(connection, at_act=at_act))
    if "tracks" in wanted:
        yield Packet(tracks=tuple(read_tracks(connection, at_act=at_act)))


def read_sightings(connection: Connection, *, at_act: int) -> Iterator[Detections]:
    """Yield the sightings in force after an act, each with the number of its spot in the foreign column ``spot``."""
    members, numbers = read_memberships(connection, at_act=at_act)
    for rows, fids in read_points(connection, "detections", at_act=at_act):
        assert isinstance(rows, Detections)  # noqa: S101  # the kind of that table
        spot = find_numbers(fids, members, numbers)
        yield rows.replace(extra={**rows.extra, SPOT: spot}) if any(spot.tolist()) else rows


def find_numbers(fids: NDArray[np.int64], members: NDArray[np.int64], numbers: NDArray[Any]) -> NDArray[Any]:
    """Return the number of each sighting's spot, the empty text where it is part of none; ``members`` are in order."""
    found = np.full(len(fids), "", dtype=object)
    if len(members):
        place = np.minimum(np.searchsorted(members, fids), len(members) - 1)
        is_member = members[place] == fids
        found[is_member] = numbers[place[is_member]]
    return found


def read_notes(connection: Connection, *, at_act: int) -> Iterator[tuple[StatusNotes, NDArray[np.int64]]]:
    """Yield the notes in force after an act, with the number of the spot each was placed with, and their ``fid``."""
    placements = read_placements(connection, at_act=at_act)
    for rows, fids in read_points(connection, "notes", at_act=at_act):
        assert isinstance(rows, StatusNotes)  # noqa: S101  # the kind of that table
        yield _put_in_place(rows, [placements.get(fid, ("", ""))[0] for fid in fids.tolist()]), fids


def _put_in_place(notes: StatusNotes, numbers: Sequence[str]) -> StatusNotes:
    pairs = list(zip(notes.detection.tolist(), numbers, strict=True))
    named = [name if number and name != number else "" for name, number in pairs]
    extra = {**notes.extra, **({NAMED: named} if any(named) and NAMED not in notes.extra else {})}
    return notes.replace(detection=[number or name for name, number in pairs], extra=extra)


def count_in_force(connection: Connection, *, at_act: int) -> dict[str, int]:
    """Return how many of each thing were in force after an act."""
    values = {"act": at_act}
    rows = {"sightings": "sighting", "notes": "note", "places": "place", "perimeters": "perimeter", "tracks": "track"}
    spans = {"sources": "source", "spots": "spot", "sightings in spots": "membership", "findings": "finding"}
    queries = {name: f"SELECT count(*) FROM {table} t WHERE {holds_at('t')}" for name, table in spans.items()}
    queries |= {name: f"SELECT count(*) FROM {table} t WHERE {in_force_at('t')}" for name, table in rows.items()}
    order = (
        "sources",
        "spots",
        "sightings",
        "sightings in spots",
        "notes",
        "places",
        "perimeters",
        "tracks",
        "findings",
    )
    return {name: int(connection.execute(queries[name], values).fetchone()[0]) for name in order}
