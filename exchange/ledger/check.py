"""Whether a ledger is what its acts have written, and whether what it says holds together."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from sqlite3 import Connection

from exchange.errors import DamagedLedgerError, LedgerError
from exchange.ledger import geopackage
from exchange.ledger.cells import read_json
from exchange.ledger.database import copy_path, open_to_read, restore_remedy
from exchange.ledger.geometry_blob import write_points
from exchange.ledger.history import last_act, read_incident
from exchange.ledger.rows import read_rows
from exchange.ledger.schema import TABLES, statements
from exchange.ledger.seal import OPENED, chain, last_fid, read_seals, seal_again
from exchange.model import Problem


@dataclass(frozen=True, kw_only=True)
class Checked:
    """What a check found.

    Attributes
    ----------
    acts, rows
        How many acts the log has, and how many rows their seals cover.
    problems
        What is wrong; empty where all is well.
    copy_act
        The last act of the copy beside the ledger, 0 where there is no copy that can be opened.
    """

    acts: int
    rows: int
    problems: tuple[Problem, ...]
    copy_act: int


def check_ledger(path: Path) -> Checked:
    """Check the file, the GeoPackage, every seal and every rule of the ledger.

    Raises
    ------
    LedgerError
        When it cannot be opened.
    DamagedLedgerError
        When it is too broken to be read to the end.
    """
    with open_to_read(path) as connection:
        found = [message for check in _CHECKS for message in check(connection)]
        acts = last_act(connection)
        rows = connection.execute("SELECT total(rows) FROM seal WHERE part = ?", (OPENED,)).fetchone()[0]
    remedy = restore_remedy(path)
    problems = tuple(Problem(message=message, severity="skipped", path=str(path), remedy=remedy) for message in found)
    return Checked(acts=acts, rows=int(rows), problems=problems, copy_act=_copy_act(path))


def _copy_act(path: Path) -> int:
    try:
        with open_to_read(copy_path(path)) as connection:
            return last_act(connection)
    except (LedgerError, DamagedLedgerError):
        return 0


def _check_file(connection: Connection) -> Iterator[str]:
    for (text,) in connection.execute("PRAGMA integrity_check(20)"):
        if text != "ok":
            yield f"SQLite finds: {text}"
    for table, row, parent, _ in connection.execute("PRAGMA foreign_key_check"):
        yield f"row {row} of {table} refers to what is not in {parent}"


def _check_schema(connection: Connection) -> Iterator[str]:
    expected = {_squeeze(text) for text in (*geopackage.STATEMENTS, *statements())}
    found = {_squeeze(sql) for (sql,) in connection.execute("SELECT sql FROM sqlite_master WHERE sql IS NOT NULL")}
    for text in sorted(expected - found):
        yield f"its tables are not as they were made: {text[:60]} ... is missing or changed"
    for text in sorted(found - expected):
        yield f"it holds what no act makes: {text[:60]} ..."


def _squeeze(text: str) -> str:
    # A table that a migration made anew has its name in quotes.
    return " ".join(text.replace('"', "").split())


def _check_geopackage(connection: Connection) -> Iterator[str]:
    marks = [connection.execute(f"PRAGMA {name}").fetchone()[0] for name in ("application_id", "user_version")]
    if marks != [geopackage.APPLICATION_ID, geopackage.USER_VERSION]:
        yield f"application id and version are {marks}, not those of a GeoPackage"
    told = "SELECT table_name, data_type, identifier, description, srs_id FROM gpkg_contents"
    for name, query, expected in (
        ("gpkg_spatial_ref_sys", "SELECT * FROM gpkg_spatial_ref_sys", geopackage.REFERENCE_SYSTEMS),
        ("gpkg_contents", told, geopackage.contents()),
        ("gpkg_geometry_columns", "SELECT * FROM gpkg_geometry_columns", geopackage.geometry_columns()),
    ):
        if set(connection.execute(query).fetchall()) != set(expected):
            yield f"{name} does not say what the ledger holds"


def _check_seals(connection: Connection) -> Iterator[str]:
    before = b""
    acts = connection.execute("SELECT fid, time, kind, command, program, report, seal FROM act ORDER BY fid").fetchall()
    if [act[0] for act in acts] != list(range(1, len(acts) + 1)):
        yield "acts are missing from the log"
    if any(first[1] > second[1] for first, second in itertools.pairwise(acts)):
        yield "an act is earlier than the one before"
    if acts and read_json(acts[0][5]).get("incident") != read_incident(connection):
        yield "the fire is called otherwise than when the ledger was started"
    for *words, seal in acts:
        kept = read_seals(connection, words[0])
        if chain(before, tuple(words), kept) != seal:
            yield f"act {words[0]} ({words[2]}) is not as it was logged"
        for told in kept:
            if seal_again(connection, told, words[0]) != told:
                yield f"what act {words[0]} ({words[2]}) {told.part} in {told.name} is not what was written"
        before = seal


def _check_coverage(connection: Connection) -> Iterator[str]:
    """Every row is under the seal of one act, and every closing too."""
    for name, table in TABLES.items():
        query = "SELECT first_fid, last_fid, rows FROM seal WHERE name = ? AND part = 'opened' ORDER BY first_fid"
        sealed = connection.execute(query, (name,)).fetchall()
        ends = [0, *(last for _, last, _ in sealed)]
        fits = all(
            first == end + 1 and rows == last - end for (first, last, rows), end in zip(sealed, ends, strict=False)
        )
        count = connection.execute(f"SELECT count(*) FROM {name}").fetchone()[0]
        if not fits or not ends[-1] == last_fid(connection, name) == count:
            yield f"rows of {name} are under no seal, or missing"
        if table.is_versioned:
            yield from _check_spans(connection, name)


def _check_spans(connection: Connection, name: str) -> Iterator[str]:
    closed = connection.execute(f"SELECT count(*) FROM {name} WHERE to_act IS NOT NULL").fetchone()[0]
    query = "SELECT total(rows) FROM seal WHERE name = ? AND part = 'closed'"
    if closed != connection.execute(query, (name,)).fetchone()[0]:
        yield f"rows of {name} were closed by no act"
    if connection.execute(f"SELECT count(*) FROM {name} WHERE to_act <= from_act").fetchone()[0]:
        yield f"rows of {name} were closed before they were opened"


_RULES = {
    "a spot has two versions at once": (
        "SELECT number FROM spot WHERE to_act IS NULL GROUP BY number HAVING count(*) > 1"
    ),
    "versions of a spot overlap": (
        "SELECT 1 FROM (SELECT from_act, lag(to_act, 1, 0) OVER w AS ended, row_number() OVER w AS place FROM spot"
        " WINDOW w AS (PARTITION BY number ORDER BY from_act)) WHERE place > 1 AND (ended IS NULL OR ended > from_act)"
    ),
    "a spot goes by another number than its own": (
        'SELECT 1 FROM spot JOIN number ON number.fid = spot.number WHERE spot."id" IS NOT number.name'
    ),
    "a sighting is part of two spots": (
        "SELECT sighting FROM membership WHERE to_act IS NULL GROUP BY sighting HAVING count(*) > 1"
    ),
    "a sighting is part of a spot that is not on the list": (
        "SELECT 1 FROM membership m WHERE m.to_act IS NULL"
        " AND m.number NOT IN (SELECT number FROM spot WHERE to_act IS NULL)"
    ),
    "a sighting of a withdrawn source is part of a spot": (
        "SELECT 1 FROM membership m JOIN sighting t ON t.fid = m.sighting JOIN source s ON s.fid = t.source"
        " WHERE m.to_act IS NULL AND s.to_act IS NOT NULL"
    ),
    "a number on the list is also an alias": (
        "SELECT 1 FROM alias a JOIN spot s ON s.number = a.number WHERE a.to_act IS NULL AND s.to_act IS NULL"
    ),
    "a number is an alias of two spots": (
        "SELECT number FROM alias WHERE to_act IS NULL GROUP BY number HAVING count(*) > 1"
    ),
    "a note speaks of two spots": "SELECT note FROM placement WHERE to_act IS NULL GROUP BY note HAVING count(*) > 1",
    "two sources in force have the same content": (
        "SELECT sha256 FROM source WHERE to_act IS NULL GROUP BY sha256 HAVING count(*) > 1"
    ),
}


def _check_rules(connection: Connection) -> Iterator[str]:
    for rule, query in _RULES.items():
        count = connection.execute(f"SELECT count(*) FROM ({query})").fetchone()[0]
        if count:
            yield f"{rule} ({count} times)"


def _check_geometry(connection: Connection) -> Iterator[str]:
    for name, table in TABLES.items():
        if table.geometry != "POINT" or table.kind is None:
            continue
        columns = ("longitude", "latitude")
        blobs = connection.execute(f"SELECT geom FROM {name} ORDER BY fid")
        for batch in read_rows(connection, name, table.kind, columns=columns, with_extra=False):
            expected = write_points(batch.table.longitude, batch.table.latitude)
            if [blob for (blob,) in blobs.fetchmany(len(expected))] != expected:
                yield f"points of {name} are drawn elsewhere than their longitude and latitude say"
                break


_CHECKS: tuple[Callable[[Connection], Iterator[str]], ...] = (
    _check_file,
    _check_schema,
    _check_geopackage,
    _check_seals,
    _check_coverage,
    _check_rules,
    _check_geometry,
)
