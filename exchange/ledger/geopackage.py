"""What makes the file a GeoPackage: its marks, and the tables that say which layers it has (OGC 12-128, version 1.3).

Layers are views, which the standard allows (section 2.1.6); a GIS may read them, and cannot write through them.
"""

from __future__ import annotations

from sqlite3 import Connection

from exchange.ledger.geometry_blob import WGS84_SRS
from exchange.ledger.schema import VIEWS

APPLICATION_ID = 0x47504B47
"""``GPKG`` in ASCII (requirement 2)."""

USER_VERSION = 10300
"""Version 1.3.0 (requirement 2)."""

_WGS84_WKT = (
    'GEOGCS["WGS 84",DATUM["WGS_1984",SPHEROID["WGS 84",6378137,298.257223563,AUTHORITY["EPSG","7030"]],'
    'AUTHORITY["EPSG","6326"]],PRIMEM["Greenwich",0,AUTHORITY["EPSG","8901"]],UNIT["degree",0.0174532925199433,'
    'AUTHORITY["EPSG","9122"]],AXIS["Latitude",NORTH],AXIS["Longitude",EAST],AUTHORITY["EPSG","4326"]]'
)

REFERENCE_SYSTEMS = (
    ("Undefined cartesian SRS", -1, "NONE", -1, "undefined", None),
    ("Undefined geographic SRS", 0, "NONE", 0, "undefined", None),
    ("WGS 84 geodetic", WGS84_SRS, "EPSG", 4326, _WGS84_WKT, "longitude and latitude in degrees on WGS 84"),
)
"""The three that every GeoPackage has (requirement 11)."""

ATTRIBUTE_TABLES = {
    "act": "Every act on this ledger: when, what, by which command line",
    "source": "Every file that came in",
    "handout": "What was handed out",
    "handed_name": "The names that spots were handed out under",
    "alias": "Numbers that were folded into others",
    "finding": "What a person must look at",
}
"""Tables without geometry that a GIS lists."""

STATEMENTS = (
    """CREATE TABLE gpkg_spatial_ref_sys (
    srs_name TEXT NOT NULL, srs_id INTEGER NOT NULL PRIMARY KEY, organization TEXT NOT NULL,
    organization_coordsys_id INTEGER NOT NULL, definition TEXT NOT NULL, description TEXT)""",
    """CREATE TABLE gpkg_contents (
    table_name TEXT NOT NULL PRIMARY KEY, data_type TEXT NOT NULL, identifier TEXT UNIQUE, description TEXT DEFAULT '',
    last_change DATETIME NOT NULL DEFAULT (strftime('%Y-%m-%dT%H:%M:%fZ','now')), min_x DOUBLE, min_y DOUBLE,
    max_x DOUBLE, max_y DOUBLE, srs_id INTEGER,
    CONSTRAINT fk_gc_r_srs_id FOREIGN KEY (srs_id) REFERENCES gpkg_spatial_ref_sys(srs_id))""",
    """CREATE TABLE gpkg_geometry_columns (
    table_name TEXT NOT NULL, column_name TEXT NOT NULL, geometry_type_name TEXT NOT NULL, srs_id INTEGER NOT NULL,
    z TINYINT NOT NULL, m TINYINT NOT NULL,
    CONSTRAINT pk_geom_cols PRIMARY KEY (table_name, column_name),
    CONSTRAINT uk_gc_table_name UNIQUE (table_name),
    CONSTRAINT fk_gc_tn FOREIGN KEY (table_name) REFERENCES gpkg_contents(table_name),
    CONSTRAINT fk_gc_srs FOREIGN KEY (srs_id) REFERENCES gpkg_spatial_ref_sys (srs_id))""",
)
"""Tables as the standard's annex C writes them."""


def contents() -> list[tuple[str, str, str, str, int | None]]:
    """Return table, data type, identifier, description and SRS of everything that a GIS lists."""
    layers = [(name, "features", name, about, WGS84_SRS) for name, (_, about, _) in VIEWS.items()]
    return [*layers, *((name, "attributes", name, about, None) for name, about in ATTRIBUTE_TABLES.items())]


def geometry_columns() -> list[tuple[str, str, str, int, int, int]]:
    """Return table, column, type, SRS and whether there are heights and measures (0: there are none) of each layer."""
    return [(name, "geom", geometry, WGS84_SRS, 0, 0) for name, (geometry, _, _) in VIEWS.items()]


def fill(connection: Connection, time: str) -> None:
    """Say in the GeoPackage's own tables what the file holds; ``time`` is when."""
    connection.executemany("INSERT INTO gpkg_spatial_ref_sys VALUES (?, ?, ?, ?, ?, ?)", REFERENCE_SYSTEMS)
    connection.executemany(
        "INSERT INTO gpkg_contents (table_name, data_type, identifier, description, srs_id, last_change)"
        " VALUES (?, ?, ?, ?, ?, ?)",
        [(*row, time) for row in contents()],
    )
    connection.executemany("INSERT INTO gpkg_geometry_columns VALUES (?, ?, ?, ?, ?, ?)", geometry_columns())


def touch(connection: Connection, time: str) -> None:
    """Say that the layers changed at ``time``."""
    connection.execute("UPDATE gpkg_contents SET last_change = ?", (time,))
