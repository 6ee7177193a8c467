"""The tables of a ledger, and the views in which a GIS sees where the incident stands.

Every table but the GeoPackage's own is written by acts only. What an act opens is never changed: a versioned row has
the act that opened it and, once, the act that closed it; everything else is never changed at all. Triggers hold both.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from exchange.ledger.cells import sql_type
from exchange.model import Detections, Places, StatusNotes, Table, Track
from exchange.model.manifest import Manifest

SCHEMA_VERSION = 1

_ORIGIN = ("source INTEGER NOT NULL REFERENCES source (fid)", "layer TEXT", "record INTEGER NOT NULL")
# An act's own row comes last, with its seal; until then these refer to nothing.
_TO_ACT = "REFERENCES act (fid) DEFERRABLE INITIALLY DEFERRED"
_SPAN = (f"from_act INTEGER NOT NULL {_TO_ACT}", f"to_act INTEGER {_TO_ACT}")
_ACT = (f"act INTEGER NOT NULL {_TO_ACT}",)
_NUMBER = "number INTEGER NOT NULL REFERENCES number (fid)"


@dataclass(frozen=True)
class SqlTable:
    """One table that acts write.

    Attributes
    ----------
    name
        Of the table.
    fields
        Its own fields as SQL declares them, without the primary key ``fid``.
    kind
        The table of the model whose columns (and foreign fields, as JSON in ``extra``) it also has.
    geometry
        The type of its field ``geom``, or empty.
    is_versioned
        Whether its rows are closed by a later act.
    """

    name: str
    fields: Sequence[str]
    kind: type[Table] | None = None
    geometry: str = ""
    is_versioned: bool = False

    def field_names(self) -> tuple[str, ...]:
        """Return the names of its own fields, in order."""
        return tuple(field.split()[0] for field in (*self.fields, *(_SPAN if self.is_versioned else ())))

    def create(self) -> str:
        """Return the statement that makes it."""
        geometry = [f"geom {self.geometry}"] if self.geometry else []
        columns = [] if self.kind is None else [f'"{n}" {sql_type(k)}' for n, k in self.kind.column_kinds().items()]
        extra = [] if self.kind is None else ["extra TEXT"]
        span = _SPAN if self.is_versioned else ()
        parts = ["fid INTEGER PRIMARY KEY NOT NULL", *geometry, *self.fields, *span, *columns, *extra]
        return f"CREATE TABLE {self.name} ({', '.join(parts)})"

    def guard(self) -> list[str]:
        """Return the statements of the triggers that forbid to change what an act has written."""
        never = f"SELECT RAISE(ABORT, 'the ledger never changes what is written: {self.name}')"
        guards = [f"CREATE TRIGGER {self.name}_stays BEFORE DELETE ON {self.name} BEGIN {never}; END"]
        if not self.is_versioned:
            return [*guards, f"CREATE TRIGGER {self.name}_holds BEFORE UPDATE ON {self.name} BEGIN {never}; END"]
        columns = () if self.kind is None else (*self.kind.column_names(), "extra")
        names = (*(("geom",) if self.geometry else ()), *self.field_names(), *columns)
        fixed = ", ".join(f'"{name}"' for name in ("fid", *names) if name != "to_act")
        once = f"BEFORE UPDATE OF to_act ON {self.name} WHEN OLD.to_act IS NOT NULL"
        return [
            *guards,
            f"CREATE TRIGGER {self.name}_holds BEFORE UPDATE OF {fixed} ON {self.name} BEGIN {never}; END",
            f"CREATE TRIGGER {self.name}_closed {once} BEGIN {never}; END",
            f"CREATE INDEX {self.name}_closing ON {self.name} (to_act) WHERE to_act IS NOT NULL",
        ]


TABLES: dict[str, SqlTable] = {
    table.name: table
    for table in (
        SqlTable(
            "source",
            (
                "name TEXT NOT NULL", "sha256 TEXT NOT NULL", "bytes INTEGER NOT NULL", "reader TEXT NOT NULL",
                "options TEXT NOT NULL", "mapping TEXT", "incident TEXT",
            ),
            is_versioned=True,
        ),
        SqlTable("sighting", _ORIGIN, Detections, "POINT"),
        SqlTable("note", _ORIGIN, StatusNotes, "POINT"),
        SqlTable("place", _ORIGIN, Places, "POINT"),
        SqlTable("track", (*_ORIGIN, "fields TEXT NOT NULL"), geometry="MULTILINESTRING"),
        SqlTable("fix", ("track INTEGER NOT NULL REFERENCES track (fid)", *_ORIGIN), Track),
        SqlTable(
            "perimeter",
            (*_ORIGIN, "id TEXT", "name TEXT", "as_of DATETIME", "area DOUBLE", "length DOUBLE",
             "fields TEXT NOT NULL"),
            geometry="MULTIPOLYGON",
        ),
        SqlTable("attachment", ("source INTEGER NOT NULL REFERENCES source (fid)", "name TEXT NOT NULL",
                                "content BLOB NOT NULL")),
        SqlTable("number", ("name TEXT NOT NULL UNIQUE", *_ACT)),
        # What the merge said of its status, before any note.
        SqlTable("spot", (_NUMBER, "merged_status TEXT"), Detections, "POINT", is_versioned=True),
        SqlTable(
            "membership", ("sighting INTEGER NOT NULL REFERENCES sighting (fid)", _NUMBER), is_versioned=True
        ),
        SqlTable(
            "alias", (_NUMBER, "folded_into INTEGER NOT NULL REFERENCES number (fid)"), is_versioned=True
        ),
        SqlTable(
            "placement",
            ("note INTEGER NOT NULL REFERENCES note (fid)", "number INTEGER REFERENCES number (fid)",
             "found_by TEXT NOT NULL"),
            is_versioned=True,
        ),
        SqlTable("handout", (*_ACT, "profile TEXT NOT NULL", "options TEXT NOT NULL")),
        SqlTable("handed_name", ("handout INTEGER NOT NULL REFERENCES handout (fid)",), Manifest),
        SqlTable(
            "finding",
            ("kind TEXT NOT NULL", "severity TEXT NOT NULL", "message TEXT NOT NULL",
             "source INTEGER REFERENCES source (fid)", "number INTEGER REFERENCES number (fid)",
             "note INTEGER REFERENCES note (fid)", "detail TEXT NOT NULL"),
            is_versioned=True,
        ),
    )
}  # fmt: skip
"""Every table that acts write, in the order in which one refers to another."""

_LEDGER = """CREATE TABLE exchange_ledger (
    fid INTEGER PRIMARY KEY NOT NULL CHECK (fid = 1), schema_version INTEGER NOT NULL, incident TEXT NOT NULL)"""

_LOG = (
    """CREATE TABLE act (
    fid INTEGER PRIMARY KEY NOT NULL, time DATETIME NOT NULL, kind TEXT NOT NULL, command TEXT NOT NULL,
    program TEXT NOT NULL, report TEXT NOT NULL, seal BLOB NOT NULL)""",
    """CREATE TABLE seal (
    fid INTEGER PRIMARY KEY NOT NULL, act INTEGER NOT NULL REFERENCES act (fid), name TEXT NOT NULL,
    part TEXT NOT NULL CHECK (part IN ('opened', 'closed')), first_fid INTEGER NOT NULL, last_fid INTEGER NOT NULL,
    rows INTEGER NOT NULL, digest BLOB NOT NULL)""",
    *(
        f"CREATE TRIGGER {name}_{word} BEFORE {what} ON {name}"
        f" BEGIN SELECT RAISE(ABORT, 'the ledger never changes what is written: {name}'); END"
        for name in ("act", "seal")
        for word, what in (("stays", "DELETE"), ("holds", "UPDATE"))
    ),
)

_IN_FORCE = "JOIN source ON source.fid = t.source AND source.to_act IS NULL"


def _columns(kind: type[Table], prefix: str = "t") -> str:
    return ", ".join(f'{prefix}."{name}"' for name in kind.column_names())


VIEWS: dict[str, tuple[str, str, str]] = {
    "spots": (
        "POINT",
        "The numbered list as it stands",
        f"SELECT t.fid AS fid, t.geom AS geom, {_columns(Detections)}, t.extra FROM spot t WHERE t.to_act IS NULL",
    ),
    "sightings": (
        "POINT",
        "What the aircraft saw, as it came; spot is the number it is part of",
        f"SELECT t.fid AS fid, t.geom AS geom, n.name AS spot, {_columns(Detections)},"
        f" source.name AS source_file, t.layer AS source_layer, t.record AS source_record, t.extra"
        f" FROM sighting t {_IN_FORCE} LEFT JOIN membership m ON m.sighting = t.fid AND m.to_act IS NULL"
        f" LEFT JOIN number n ON n.fid = m.number",
    ),
    "notes": (
        "POINT",
        "What the crews reported; spot is the number it was placed with",
        f"SELECT t.fid AS fid, t.geom AS geom, n.name AS spot, {_columns(StatusNotes)},"
        f" source.name AS source_file, t.layer AS source_layer, t.record AS source_record, t.extra"
        f" FROM note t {_IN_FORCE} LEFT JOIN placement p ON p.note = t.fid AND p.to_act IS NULL"
        f" LEFT JOIN number n ON n.fid = p.number",
    ),
    "places": (
        "POINT",
        "Markers that are no hotspot",
        f"SELECT t.fid AS fid, t.geom AS geom, {_columns(Places)}, source.name AS source_file,"
        f" t.layer AS source_layer, t.record AS source_record, t.extra FROM place t {_IN_FORCE}",
    ),
    "perimeters": (
        "MULTIPOLYGON",
        "Perimeters, each with the instant it describes",
        f"SELECT t.fid AS fid, t.geom AS geom, t.id, t.name, t.as_of, t.area, t.length, source.name AS source_file,"
        f" t.fields FROM perimeter t {_IN_FORCE}",
    ),
    "tracks": (
        "MULTILINESTRING",
        "Flown tracks; the fixes with their times are in the table fix",
        f"SELECT t.fid AS fid, t.geom AS geom, source.name AS source_file, t.layer AS source_layer, t.fields"
        f" FROM track t {_IN_FORCE}",
    ),
}
"""The layers that a GIS sees, with what holds now: geometry type, what it is, and the query."""

INDEXES = (
    "CREATE INDEX membership_now ON membership (sighting) WHERE to_act IS NULL",
    "CREATE INDEX placement_now ON placement (note) WHERE to_act IS NULL",
)


def statements() -> list[str]:
    """Return every statement that makes an empty ledger, those of the GeoPackage itself left out."""
    tables = [statement for table in TABLES.values() for statement in (table.create(), *table.guard())]
    views = [f"CREATE VIEW {name} AS {query}" for name, (_, _, query) in VIEWS.items()]
    return [_LEDGER, *_LOG, *tables, *INDEXES, *views]
