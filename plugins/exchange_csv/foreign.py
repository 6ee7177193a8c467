"""A stranger's table: find the positions and the kinds of its columns, and hand its rows over block by block."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from exchange.formats import values
from exchange.formats.arrow_columns import to_texts
from exchange.formats.columns.claims import plan_columns
from exchange.formats.columns.header import read_header
from exchange.formats.columns.targets import FIX_TARGETS, NOTE_TARGETS, POINT_TARGETS
from exchange.formats.foreign import read_foreign_fixes, read_foreign_notes, read_foreign_points
from exchange.formats.options import ReadOptions
from exchange.formats.positions import POSITION_TEXT
from exchange.model import Packet, Problem, Sources, Track
from exchange.model.columns import ForeignColumn, TimeColumn
from exchange_csv.blocks import Blocks
from exchange_csv.cells import empty_to_null, to_instants
from exchange_csv.kinds import CellKind, find_kinds, to_foreign
from exchange_csv.positions import PositionColumns, ReadPositions, find_position_columns, read_numbers, read_positions
from exchange_csv.table import Block, TextTable

_OF_FIXES = FIX_TARGETS - POINT_TARGETS
_NO_PLACE = "no column says where; the rows are read as reports on the spots they number"
_OPEN_END = "the last line has no end; if the file was cut short, its last cell was too"


def read_foreign(table: TextTable, options: ReadOptions) -> Iterator[Packet]:
    """Read a stranger's table into packets.

    Raises
    ------
    AmbiguityError
        When nothing tells which columns hold the positions, or how they are written.
    MalformedError
        When the quotes of a record do not match.
    OptionError
        When an option or the column mapping is not usable.
    """
    options = replace(options, decimal_mark=table.dialect.decimal_mark)
    position = find_position_columns(table.dialect.names, options, table.file.name)
    blocks = Blocks(table, position.names)
    reading = _ForeignReading(table, options, position)
    if reading.untold:
        reading.kinds = find_kinds((block.columns for block in blocks.each()), reading.untold)
    yield Packet(problems=tuple(reading.tell_dialect()))
    for block in blocks.each():
        yield reading.take(block)
    yield reading.finish()


@dataclass
class _ForeignReading:
    """What is the same for every block of one table."""

    table: TextTable
    options: ReadOptions
    position: PositionColumns
    kinds: Mapping[str, CellKind] = field(default_factory=dict)

    def __post_init__(self) -> None:
        names = [name for name in self.table.dialect.names if name not in self.position.consumed]
        targets = FIX_TARGETS if self.options.rows_as_track else POINT_TARGETS
        targets = targets if self.position.names else NOTE_TARGETS
        plan = plan_columns(names, targets, self.options)
        self.names = names
        claimed = {c.name for c in plan.claims.values() if c.unit or c.target.kind != "number"}
        self.untold = [name for name in names if name not in claimed]
        """The columns whose cells are kept as they came, typed where they are exact numbers."""
        self.sortie = plan.claims["sortie"].name if "sortie" in plan.claims else None
        self.pieces: dict[str, list[Track]] = {}
        self.measures = {c.name for c in plan.claims.values() if c.target.kind == "number" and c.unit}
        self.times = {c.name for c in plan.claims.values() if c.target.kind == "time" and not c.time_format}

    def tell_dialect(self) -> list[Problem]:
        """Return what was found out about how the table is written."""
        notes = list(self.table.dialect.notes)
        if self.table.encoding.evidence:
            notes.insert(0, (self.table.encoding.evidence, "If that is wrong, state it with --encoding."))
        if self.table.is_open_ended():
            notes.append((_OPEN_END, "Compare its last record with the sender's."))
        notes += self._tell_columns()
        return [Problem(message=m, remedy=r, severity="note", path=self.table.file.name) for m, r in notes]

    def _tell_columns(self) -> Iterator[tuple[str, str]]:
        """Yield what the names of the columns make one ask."""
        if not self.position.names:
            yield _NO_PLACE, "If a column does hold positions, state it with --position-column or the like."
        names = self.table.dialect.names
        mapped = self.options.columns.columns if self.options.columns else {}
        missing = [name for name in mapped if name not in names]
        if missing:
            yield f"the table has no column {', '.join(map(repr, missing))}, which the column mapping speaks of", ""
        flown = [name for name in self.names if (header := read_header(name)) and header.target in _OF_FIXES]
        if flown and not self.options.rows_as_track:
            shown = ", ".join(map(repr, flown))
            yield f"{shown} belong to a flown track, but the rows are read as points", "If they are fixes: --as-track."

    def take(self, block: Block) -> Packet:
        """Return what the records of one block are."""
        source = Sources.of(self.table.file.name, "", block.records)
        columns = {name: self._convert(name, block.columns[name]) for name in self.names}
        if not self.position.names:
            packet = read_foreign_notes(columns, source=source, options=self.options)
        elif self.position.form == "WKT":
            packet = self._take_shapes(block.columns[self.position.names[0]], columns, source)
        else:
            packet = self._take_points(columns, read_positions(block.columns, self.position, source), source)
        return packet.replace(problems=(*block.problems, *packet.problems))

    def finish(self) -> Packet:
        """Return the tracks whose fixes stood anywhere in the table."""
        return Packet(tracks=tuple(Track.join(pieces) for pieces in self.pieces.values()))

    def _take_points(self, columns: dict[str, ForeignColumn], read: ReadPositions, source: Sources) -> Packet:
        if read.texts is not None:
            columns[POSITION_TEXT] = read.texts
        place: dict[str, Any] = {"longitude": read.longitude, "latitude": read.latitude, "altitude": read.altitude}
        if self.options.rows_as_track:
            packet = self._take_fixes(columns, place, source)
        else:
            packet = read_foreign_points(columns, **place, source=source, options=self.options)
        return packet.replace(problems=(*read.problems, *packet.problems))

    def _take_shapes(self, cells: Any, columns: dict[str, ForeignColumn], source: Sources) -> Packet:
        from exchange_csv.shapes import build_shapes, read_shapes

        shapes = read_shapes(cells, source)
        tracks, perimeters, problems = build_shapes(shapes, columns, source, self.options)
        chosen = {name: column[shapes.is_point] for name, column in columns.items()}
        packet = self._take_points(chosen, shapes.points, source.take(shapes.is_point))
        return packet.replace(
            tracks=(*packet.tracks, *tracks), perimeters=tuple(perimeters), problems=(*problems, *packet.problems)
        )

    def _take_fixes(self, columns: Mapping[str, ForeignColumn], place: Mapping[str, Any], source: Sources) -> Packet:
        """Return the fixes of one track; those of several sorties are kept apart until the table ends."""
        problems: list[Problem] = []
        for sortie, rows in self._part_sorties(columns, len(source)):
            number = list(self.pieces).index(sortie) + 1 if sortie in self.pieces else len(self.pieces) + 1
            here: dict[str, Any] = {n: values if values is None else values[rows] for n, values in place.items()}
            track, told = read_foreign_fixes(
                {name: column[rows] for name, column in columns.items()},
                **here,
                source=source.take(rows),
                options=self.options,
                properties={},
                number=number,
            )
            problems += told
            if self.sortie is None:
                return Packet(tracks=(track,) if len(track) else (), problems=tuple(problems))
            self.pieces.setdefault(sortie, []).append(track)
        return Packet(problems=tuple(problems))

    def _part_sorties(self, columns: Mapping[str, ForeignColumn], length: int) -> Iterator[tuple[str, Any]]:
        if self.sortie is None:
            yield "", slice(None)
            return
        sorties = values.to_texts(columns[self.sortie])
        for sortie in dict.fromkeys(sorties.tolist()):
            yield sortie, np.flatnonzero(sorties == sortie)

    def _convert(self, name: str, cells: Any) -> ForeignColumn:
        """Return one column as values: exact numbers by kind; measures and times at once where they are regular."""
        if name in self.measures:
            numbers = read_numbers(cells, self.options.decimal_mark)
            return to_texts(cells) if numbers is None else numbers
        if name in self.times:
            times = _cast_times(cells)
            return to_texts(cells) if times is None else times
        return to_foreign(cells, self.kinds.get(name, "text"))


def _cast_times(cells: Any) -> TimeColumn | None:
    """Return a column of ISO times at once, or ``None`` where a cell is none or carries no zone."""
    import pyarrow as pa

    try:
        return to_instants(empty_to_null(cells).cast(pa.timestamp("ms", "UTC")))
    except pa.ArrowInvalid:
        return None
