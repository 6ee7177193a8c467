"""The numbered list: numbers that are allotted once, versions of each spot, and what each spot is made of."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from sqlite3 import Connection
from typing import Any

import numpy as np
from numpy.typing import NDArray

from exchange.errors import ModelError
from exchange.ledger.act import Act
from exchange.ledger.cells import to_cells, write_extra
from exchange.ledger.geometry_blob import write_points
from exchange.ledger.history import holds_at
from exchange.ledger.rows import close_rows, insert, join_rows, read_rows
from exchange.model import Detections
from exchange.model.columns import TextColumn
from exchange.model.spot_number import find_aliases

_COLUMNS = ("merged_status", *Detections.column_names(), "extra")


@dataclass(frozen=True, kw_only=True)
class ListChange:
    """How a list differs from the one before: numbers of spots that are new, changed or no longer on it."""

    new: tuple[str, ...]
    changed: tuple[str, ...]
    gone: tuple[str, ...]


def read_numbers(connection: Connection, *, at_act: int | None = None) -> dict[str, int]:
    """Return every number allotted by an act, each with its ``fid``; numbers are never taken back."""
    query = "SELECT name, fid FROM number WHERE ? IS NULL OR act <= ? ORDER BY fid"
    return dict(connection.execute(query, (at_act, at_act)).fetchall())


def allot_numbers(act: Act, names: Iterable[str]) -> dict[str, int]:
    """Allot the numbers that are not yet; return all numbers with their ``fid``."""
    known = read_numbers(act.connection)
    new = [name for name in dict.fromkeys(names) if name not in known]
    fids = insert(act.connection, "number", {"name": new, "act": [act.number] * len(new)}, len(new))
    return known | dict(zip(new, fids.tolist(), strict=True))


def read_spots(connection: Connection, *, at_act: int) -> Detections:
    """Return the list as it stood after an act, in the order in which its numbers were allotted."""
    return _read_list(connection, at_act)[0]


def read_merged_spots(connection: Connection, *, at_act: int) -> Detections:
    """Return the list as ``read_spots`` does, with the status that the merge gave each spot before any note."""
    spots, merged_status = _read_list(connection, at_act)
    return spots.replace(status=merged_status)


def _read_list(connection: Connection, at_act: int) -> tuple[Detections, list[str]]:
    batches = list(read_rows(connection, "spot", Detections, where=_held(at_act)))
    spots, _ = join_rows(Detections, batches)
    numbers, status = ([v for batch in batches for v in batch.fields[name]] for name in ("number", "merged_status"))
    order = np.argsort(numbers, kind="stable")
    return spots.take(order), [status[row] or "" for row in order.tolist()]


def write_spots(act: Act, spots: Detections, *, merged_status: Sequence[str] | None = None) -> ListChange:
    """Make ``spots`` the list: spots that are as before stay untouched, what changed gets a new version.

    Parameters
    ----------
    act
        The act that does it.
    spots
        The whole list, with the permanent numbers in ``id``; numbers that were folded into others in the foreign
        column ``aliases``.
    merged_status
        What the merge said of each spot's status before any note; by default that of ``spots``.

    Raises
    ------
    ModelError
        When a spot has no number or two have the same.
    """
    names = [str(name) for name in spots.id.tolist()]
    if "" in names or len(set(names)) < len(names):
        twice = next((name for name, count in Counter(names).items() if name and count > 1), "")
        raise ModelError(f"the list has {'two spots ' + twice if twice else 'a spot without a number'}", field="id")
    numbers = allot_numbers(act, [*names, *find_aliases(spots)])
    by_fid = {fid: name for name, fid in numbers.items()}
    before_notes = spots.status.tolist() if merged_status is None else list(merged_status)
    change = _write_versions(act, spots, before_notes, [numbers[name] for name in names], by_fid)
    _write_aliases(act, {numbers[alias]: numbers[name] for alias, name in find_aliases(spots).items()})
    return change


def _write_versions(
    act: Act, spots: Detections, merged_status: list[str], numbers: list[int], names: Mapping[int, str]
) -> ListChange:
    current = _read_versions(act.connection)
    columns: list[Sequence[Any]] = [[status or None for status in merged_status]]
    columns += [to_cells(getattr(spots, name)) for name in Detections.column_names()]
    rows = list(zip(*columns, write_extra(spots.extra, len(spots)), strict=True))
    written = [row for row, number in enumerate(numbers) if current.get(number, (0, ()))[1] != rows[row]]
    gone = current.keys() - set(numbers)
    replaced = [number for row in written if (number := numbers[row]) in current]
    close_rows(act.connection, "spot", [current[number][0] for number in sorted((*gone, *replaced))], act.number)
    kept = [[rows[row][place] for row in written] for place in range(len(_COLUMNS))]
    blobs = write_points(spots.longitude, spots.latitude)
    insert(
        act.connection,
        "spot",
        {
            "number": [numbers[row] for row in written],
            "geom": [blobs[row] for row in written],
            "from_act": [act.number] * len(written),
            **dict(zip(_COLUMNS, kept, strict=True)),
        },
        len(written),
    )
    return ListChange(
        new=tuple(names[numbers[row]] for row in written if numbers[row] not in current),
        changed=tuple(names[number] for number in replaced),
        gone=tuple(names[number] for number in sorted(gone)),
    )


def _read_versions(connection: Connection) -> dict[int, tuple[int, tuple[Any, ...]]]:
    columns = ", ".join(f'"{name}"' for name in _COLUMNS)
    rows = connection.execute(f"SELECT number, fid, {columns} FROM spot WHERE to_act IS NULL")
    return {row[0]: (row[1], row[2:]) for row in rows}


def _write_aliases(act: Act, folded: Mapping[int, int]) -> None:
    rows = act.connection.execute("SELECT fid, number, folded_into FROM alias WHERE to_act IS NULL").fetchall()
    current = {(number, into): fid for fid, number, into in rows}
    close_rows(act.connection, "alias", [f for pair, f in current.items() if pair not in folded.items()], act.number)
    new = [pair for pair in folded.items() if pair not in current]
    columns = {"number": [n for n, _ in new], "folded_into": [i for _, i in new], "from_act": [act.number] * len(new)}
    insert(act.connection, "alias", columns, len(new))


def read_aliases(connection: Connection, *, at_act: int) -> dict[str, str]:
    """Return, after an act, every number that was folded into another, with that other."""
    query = (
        "SELECT a.name, b.name FROM alias t JOIN number a ON a.fid = t.number JOIN number b ON b.fid = t.folded_into"
        f" WHERE {holds_at('t')} ORDER BY t.fid"
    )
    return dict(connection.execute(query, {"act": at_act}).fetchall())


def read_memberships(connection: Connection, *, at_act: int) -> tuple[NDArray[np.int64], TextColumn]:
    """Return the ``fid`` of every sighting that was part of a spot after an act, in order, and the spot's number."""
    query = f"SELECT t.sighting, t.number FROM membership t WHERE {holds_at('t')} ORDER BY t.sighting"
    pairs = np.array(connection.execute(query, {"act": at_act}).fetchall(), dtype=np.int64).reshape(-1, 2)
    names = np.empty(1 + max(pairs[:, 1], default=0), dtype=object)
    for name, fid in read_numbers(connection).items():
        names[fid : fid + 1] = name
    return pairs[:, 0], names[pairs[:, 1]]


def read_numbers_ever_seen(connection: Connection) -> set[str]:
    """Return the numbers of all spots that a sighting was ever part of."""
    query = "SELECT DISTINCT n.name FROM membership m JOIN number n ON n.fid = m.number"
    return {name for (name,) in connection.execute(query)}


def is_in_list(connection: Connection, source: int) -> bool:
    """Tell whether a sighting of a file is part of a spot now."""
    query = (
        "SELECT EXISTS (SELECT 1 FROM membership m JOIN sighting s ON s.fid = m.sighting"
        " WHERE m.to_act IS NULL AND s.source = ?)"
    )
    return bool(connection.execute(query, (source,)).fetchone()[0])


def write_memberships(act: Act, sightings: NDArray[np.int64], numbers: Sequence[str]) -> int:
    """Make these the sightings that spots are made of; return how many were new, moved or taken out.

    Parameters
    ----------
    act
        The act that does it.
    sightings
        The ``fid`` of every sighting that is part of a spot, int64, shape (n,).
    numbers
        The number of the spot each is part of, shape (n,); all must have been allotted.
    """
    known = read_numbers(act.connection)
    wanted = np.fromiter((known[number] for number in numbers), dtype=np.int64, count=len(numbers))
    query = "SELECT sighting, number, fid FROM membership WHERE to_act IS NULL"
    current = np.array(act.connection.execute(query).fetchall(), dtype=np.int64).reshape(-1, 3)
    kept = _pairs(current[:, 0], current[:, 1]), _pairs(sightings, wanted)
    gone = ~np.isin(kept[0], kept[1], assume_unique=True)
    new = ~np.isin(kept[1], kept[0], assume_unique=True)
    close_rows(act.connection, "membership", current[gone, 2], act.number)
    count = int(new.sum())
    columns = {
        "sighting": sightings[new].tolist(),
        "number": wanted[new].tolist(),
        "from_act": [act.number] * count,
    }
    insert(act.connection, "membership", columns, count)
    return len(np.union1d(current[gone, 0], sightings[new]))


def _pairs(sightings: NDArray[np.int64], numbers: NDArray[np.int64]) -> NDArray[np.int64]:
    """Return one whole number for each pair, unlike that of any other; both are far below 2**31."""
    return (sightings << 31) | numbers


def _held(at_act: int) -> str:
    return holds_at("t").replace(":act", str(int(at_act)))


def count_status(connection: Connection, *, at_act: int) -> dict[str, int]:
    """Return how many spots had each status word after an act; those without one under the empty text."""
    query = f"SELECT coalesce(t.status, ''), count(*) FROM spot t WHERE {holds_at('t')} GROUP BY 1"
    return dict(connection.execute(query, {"act": at_act}).fetchall())
