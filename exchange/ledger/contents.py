"""What a file held, into the ledger and back: sightings, notes, places, tracks, perimeters, attached files."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from sqlite3 import Connection
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from exchange.formats.properties import (
    build_perimeter,
    flatten_perimeter,
    flatten_track_fields,
    split_track_fields,
)
from exchange.ledger.cells import read_json, write_instants, write_json
from exchange.ledger.geometry_blob import read_shape, write_shape
from exchange.ledger.history import in_force_at
from exchange.ledger.rows import insert, join_rows, read_rows, write_rows
from exchange.model import Detections, Packet, Perimeter, Places, PointTable, Source, StatusNotes, Track

AnyPoints = TypeVar("AnyPoints", bound=PointTable)

POINT_TABLES: dict[str, tuple[str, type[PointTable]]] = {
    "detections": ("sighting", Detections),
    "notes": ("note", StatusNotes),
    "places": ("place", Places),
}
"""The ledger's table and the model's by the field of a packet."""


@dataclass
class SourceWriter:
    """Write what one file holds, batch by batch; a track that comes in pieces is written when the file ends.

    Attributes
    ----------
    connection
        Of the act.
    source
        The file's number.
    notes
        The ``fid`` of each note written so far.
    """

    connection: Connection
    source: int
    notes: list[NDArray[np.int64]] = field(default_factory=list)
    _pieces: list[Track] = field(default_factory=list)

    def write(self, packet: Packet) -> None:
        """Write one batch."""
        for name, (table, _) in POINT_TABLES.items():
            rows: PointTable = getattr(packet, name)
            if len(rows):
                fids = write_rows(self.connection, table, rows, **self._origin(rows))
                self.notes += [fids] if name == "notes" else []
        if packet.perimeters:
            self._write_perimeters(packet.perimeters)
        files = packet.attachments
        columns = {
            "source": [self.source] * len(files),
            "name": [*files],
            "content": [*files.values()],
        }
        insert(self.connection, "attachment", columns, len(files))
        self._pieces += packet.tracks

    def finish(self) -> int:
        """Write the tracks; return how many there are."""
        tracks = Packet.join([Packet(tracks=tuple(self._pieces))]).tracks
        for track in tracks:
            self._write_track(track)
        self._pieces = []
        return len(tracks)

    def _origin(self, rows: PointTable) -> dict[str, Any]:
        layers = [layer or None for layer in rows.source.layer.tolist()]
        return {"source": self.source, "layer": layers, "record": rows.source.record}

    def _write_track(self, track: Track) -> None:
        origin = track.source[0] if len(track) else Source()
        lines = _draw_lines(track)
        columns = {
            "geom": [None if lines is None else write_shape(lines)],
            "source": [self.source],
            "layer": [origin.layer or None],
            "record": [track.number],
            "fields": [write_json(flatten_track_fields(track))],
        }
        (fid,) = insert(self.connection, "track", columns, 1).tolist()
        write_rows(self.connection, "fix", track, track=fid, **self._origin(track))

    def _write_perimeters(self, perimeters: Sequence[Perimeter]) -> None:
        from shapely.geometry import MultiPolygon

        shapes = [p.geometry if p.geometry.geom_type == "MultiPolygon" else MultiPolygon([p.geometry])
                  for p in perimeters]  # fmt: skip
        columns = {
            "geom": [write_shape(shape) for shape in shapes],
            "source": [self.source] * len(perimeters),
            "layer": [p.source.layer or None for p in perimeters],
            "record": [p.source.record for p in perimeters],
            "id": [p.id or None for p in perimeters],
            "name": [p.name or None for p in perimeters],
            "as_of": write_instants(np.array([p.as_of for p in perimeters], dtype="datetime64[ms]")),
            "area": [None if p.area != p.area else p.area for p in perimeters],
            "length": [None if p.length != p.length else p.length for p in perimeters],
            "fields": [write_json(flatten_perimeter(p)) for p in perimeters],
        }
        insert(self.connection, "perimeter", columns, len(perimeters))


def _draw_lines(track: Track) -> Any:
    """Return the segments of at least two positions as lines, ``None`` where there are none."""
    from shapely.geometry import MultiLineString

    placed = track.has_position()
    lines = []
    for rows in track.segment_rows():
        held = placed[rows]
        line = np.column_stack([track.longitude[rows][held], track.latitude[rows][held]])
        lines += [line] if len(line) > 1 else []
    return MultiLineString(lines) if lines else None


def read_points(
    connection: Connection, name: str, *, at_act: int, columns: Sequence[str] | None = None, with_extra: bool = True
) -> Iterator[tuple[PointTable, NDArray[np.int64]]]:
    """Yield the rows in force after an act in batches, each with the ``fid`` of every row.

    Parameters
    ----------
    connection
        To read with.
    name
        ``detections``, ``notes`` or ``places``: the field of a packet.
    at_act
        The act.
    columns, with_extra
        Which columns to read, by default all.
    """
    table, kind = POINT_TABLES[name]
    where = in_force_at("t").replace(":act", str(int(at_act)))
    batches = read_rows(connection, table, kind, where=where, columns=columns, with_extra=with_extra)
    yield from ((batch.table, batch.fid) for batch in batches)


def read_perimeters(connection: Connection, *, at_act: int) -> tuple[Perimeter, ...]:
    """Return the perimeters in force after an act."""
    query = (
        "SELECT t.geom, t.fields, t.layer, t.record, source.name FROM perimeter t JOIN source ON source.fid = t.source"
        f" WHERE {in_force_at('t')} ORDER BY t.fid"  # own words
    )
    return tuple(
        build_perimeter(read_json(fields), geometry=read_shape(geom), source=Source(name, layer or "", record))
        for geom, fields, layer, record, name in connection.execute(query, {"act": at_act})
    )


def read_tracks(connection: Connection, *, at_act: int) -> list[Track]:
    """Return the tracks in force after an act."""
    condition = in_force_at("t").replace(":act", str(int(at_act)))
    batches = list(read_rows(connection, "fix", Track, where=condition))
    fixes, _ = join_rows(Track, batches)
    owner = np.array([fid for batch in batches for fid in batch.fields["track"]], dtype=np.int64)
    query = f"SELECT t.fid, t.record, t.fields FROM track t WHERE {condition} ORDER BY t.fid"  # own words
    tracks = connection.execute(query).fetchall()
    # A track's fixes were written in one go, so that they stand together and in order.
    starts = np.searchsorted(owner, [fid for fid, _, _ in tracks])
    ends = np.searchsorted(owner, [fid for fid, _, _ in tracks], side="right")
    return [
        fixes.take(slice(start, end)).replace(number=number, **split_track_fields(read_json(fields)))
        for (_, number, fields), start, end in zip(tracks, starts.tolist(), ends.tolist(), strict=True)
    ]


def read_attachments(connection: Connection, *, at_act: int) -> dict[str, bytes]:
    """Return the attached files in force after an act by name; of two with one name, the first."""
    query = f"SELECT t.name, t.content FROM attachment t WHERE {in_force_at('t')} ORDER BY t.fid DESC"
    return dict(connection.execute(query, {"act": at_act}).fetchall())


def count_rows(connection: Connection, table: str, source: int) -> int:
    """Return how many rows of a table came in a file."""
    return int(connection.execute(f"SELECT count(*) FROM {table} WHERE source = ?", (source,)).fetchone()[0])
