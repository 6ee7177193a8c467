"""Rows of the model's tables into the ledger's tables and back, column by column."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from sqlite3 import Connection
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from exchange.errors import DamagedLedgerError
from exchange.ledger.cells import from_cells, read_extra, to_cells, write_extra
from exchange.ledger.geometry_blob import write_points
from exchange.ledger.schema import TABLES, SqlTable
from exchange.ledger.seal import last_fid
from exchange.model import Sources, Table
from exchange.model.columns import has_any_value

BATCH_ROWS = 65_536

AnyTable = TypeVar("AnyTable", bound=Table)


@dataclass(frozen=True)
class ReadRows:
    """Rows as they were read: the model's table, their ``fid`` and the ledger's own fields by name."""

    table: Any
    fid: NDArray[np.int64]
    fields: dict[str, list[Any]]


def write_rows(connection: Connection, name: str, rows: Table, **fields: Any) -> NDArray[np.int64]:
    """Write the rows of a table of the model into the ledger's table of that name.

    Parameters
    ----------
    connection
        Of the act.
    name
        The ledger's table.
    rows
        What to write.
    fields
        The ledger's own fields: one value for all rows, or a list or array with one a row.

    Returns
    -------
    numpy.ndarray
        The ``fid`` of each row, int64, shape (n,).
    """
    table = TABLES[name]
    columns: dict[str, list[Any]] = {}
    for field, values in fields.items():
        is_one = isinstance(values, (int, str, type(None)))
        columns[field] = [values] * len(rows) if is_one else np.asarray(values, dtype=object).tolist()
    if table.geometry:
        columns["geom"] = list(write_points(rows.longitude, rows.latitude))  # type: ignore[attr-defined]  # points
    held = [column for column in rows.column_names() if has_any_value(getattr(rows, column))]
    columns |= {column: to_cells(getattr(rows, column)) for column in held}
    if rows.extra:
        columns["extra"] = list(write_extra(rows.extra, len(rows)))
    return insert(connection, name, columns, len(rows))


def insert(connection: Connection, name: str, columns: Mapping[str, Any], length: int) -> NDArray[np.int64]:
    """Insert rows given as columns of what SQLite stores; return the ``fid`` of each."""
    first = last_fid(connection, name) + 1
    names = ", ".join(["fid", *(f'"{column}"' for column in columns)])
    marks = ", ".join("?" * (len(columns) + 1))
    values = zip(range(first, first + length), *columns.values(), strict=True)
    connection.executemany(f"INSERT INTO {name} ({names}) VALUES ({marks})", values)  # own names
    return np.arange(first, first + length, dtype=np.int64)


def close_rows(connection: Connection, name: str, fids: Sequence[int] | NDArray[np.int64], act: int) -> None:
    """Close versioned rows: from this act on they do not hold."""
    pairs = ((act, fid) for fid in np.asarray(fids, dtype=np.int64).tolist())
    connection.executemany(f"UPDATE {name} SET to_act = ? WHERE fid = ?", pairs)  # own names


def read_rows(
    connection: Connection,
    name: str,
    kind: type[AnyTable],
    *,
    where: str = "1",
    values: Sequence[Any] = (),
    columns: Sequence[str] | None = None,
    with_extra: bool = True,
) -> Iterator[ReadRows]:
    """Read rows of the ledger's table ``name`` in batches, in the order they were written.

    Parameters
    ----------
    connection
        To read with.
    name, kind
        The ledger's table and the model's.
    where, values
        Which rows, in SQL with ``t`` for the table, and what its question marks stand for.
    columns
        Which of the model's columns to read; by default all. The others are left missing.
    with_extra
        Whether to read the foreign fields.
    """
    table = TABLES[name]
    held = _held_columns(connection, name, kind, columns)
    own = table.field_names()
    picked = ["t.fid", *(f"t.{field}" for field in own), *(f't."{column}"' for column in held)]
    picked += ["t.extra"] if with_extra else []
    query = f"SELECT {', '.join(picked)} FROM {name} t WHERE {where} ORDER BY t.fid"  # own names
    names = _source_names(connection) if "source" in own else {}
    cursor = connection.execute(query, values)
    while batch := cursor.fetchmany(BATCH_ROWS):
        cells = list(zip(*batch, strict=True))
        try:
            rows = _build(table, kind, cells, own, held, names, with_extra=with_extra)
        except (ValueError, TypeError, KeyError) as error:
            remedy = "See what is wrong by: exchange ledger check LEDGER"
            raise DamagedLedgerError(f"{name} holds what no act has written: {error}", remedy=remedy) from error
        yield rows


def _held_columns(connection: Connection, name: str, kind: type[Table], columns: Sequence[str] | None) -> list[str]:
    """Return which columns to read; one that is empty throughout is told by one look and not read."""
    wanted = [column for column in kind.column_names() if columns is None or column in columns]
    looks = ", ".join(f'max("{column}") IS NOT NULL' for column in wanted)
    found = connection.execute(f"SELECT {looks} FROM {name}").fetchone() if wanted else ()  # own names
    return [column for column, is_held in zip(wanted, found, strict=True) if is_held]


def _build(
    table: SqlTable,
    kind: type[AnyTable],
    cells: list[tuple[Any, ...]],
    own: tuple[str, ...],
    held: list[str],
    names: Mapping[int, str],
    *,
    with_extra: bool,
) -> ReadRows:
    fields = {field: list(column) for field, column in zip(own, cells[1:], strict=False)}
    kinds = kind.column_kinds()
    start = 1 + len(own)
    columns: dict[str, Any] = {
        column: from_cells(cells[start + place], kinds[column]) for place, column in enumerate(held)
    }
    source = _read_sources(fields, names) if "source" in fields else Sources.unknown(len(cells[0]))
    extra = read_extra(cells[-1]) if with_extra else {}
    fid = np.array(cells[0], dtype=np.int64)
    return ReadRows(kind(**columns, extra=extra, source=source), fid, fields)


def _source_names(connection: Connection) -> dict[int, str]:
    return dict(connection.execute("SELECT fid, name FROM source").fetchall())


def _read_sources(fields: Mapping[str, list[Any]], names: Mapping[int, str]) -> Sources:
    layers, record = dict.fromkeys(fields["layer"]), np.array(fields["record"], dtype=np.int64)
    if len(layers) == 1:
        (layer,) = layers
        sources, code = np.unique(np.array(fields["source"]), return_inverse=True)
        return Sources([(names[source], layer or "") for source in sources.tolist()], code, record)
    places: dict[tuple[int, str], int] = {}
    pairs = zip(fields["source"], fields["layer"], strict=True)
    codes = [places.setdefault((source, layer or ""), len(places)) for source, layer in pairs]
    return Sources([(names[source], layer) for source, layer in places], np.array(codes), record)


def join_rows(kind: type[AnyTable], batches: Sequence[ReadRows]) -> tuple[AnyTable, NDArray[np.int64]]:
    """Return the rows of all batches in one table, and their ``fid``."""
    if not batches:
        return kind(), np.zeros(0, dtype=np.int64)
    return kind.join([batch.table for batch in batches]), np.concatenate([batch.fid for batch in batches])
