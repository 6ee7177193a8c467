"""A stranger's table: find the positions and the kinds of its columns, and hand its rows over block by block."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

from exchange.formats.columns.claims import plan_columns
from exchange.formats.columns.targets import FIX_TARGETS, POINT_TARGETS
from exchange.formats.foreign import read_foreign_fixes, read_foreign_points
from exchange.formats.options import ReadOptions
from exchange.formats.positions import POSITION_TEXT
from exchange.model import Packet, Problem, Sources
from exchange.model.columns import ForeignColumn, TimeColumn
from exchange_csv.blocks import Blocks
from exchange_csv.cells import empty_to_null, to_instants, to_objects
from exchange_csv.kinds import CellKind, find_kinds, to_foreign
from exchange_csv.positions import PositionColumns, ReadPositions, find_position_columns, read_numbers, read_positions
from exchange_csv.table import Block, TextTable


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
    kinds = find_kinds(block.columns for block in blocks.each())
    reading = _ForeignReading(table, options, position, kinds)
    yield Packet(problems=tuple(reading.tell_dialect()))
    for block in blocks.each():
        yield reading.take(block)


@dataclass
class _ForeignReading:
    """What is the same for every block of one table."""

    table: TextTable
    options: ReadOptions
    position: PositionColumns
    kinds: Mapping[str, CellKind]

    def __post_init__(self) -> None:
        names = [name for name in self.table.dialect.names if name not in self.position.consumed]
        targets = FIX_TARGETS if self.options.rows_as_track else POINT_TARGETS
        plan = plan_columns(names, targets, self.options)
        self.names = names
        self.measures = {c.name for c in plan.claims.values() if c.target.kind == "number" and c.unit}
        self.times = {c.name for c in plan.claims.values() if c.target.kind == "time" and not c.time_format}

    def tell_dialect(self) -> list[Problem]:
        """Return what was found out about how the table is written."""
        notes = list(self.table.dialect.notes)
        if self.table.encoding.evidence:
            notes.insert(0, (self.table.encoding.evidence, "If that is wrong, state it with --encoding."))
        return [Problem(message=m, remedy=r, severity="note", path=self.table.file.name) for m, r in notes]

    def take(self, block: Block) -> Packet:
        """Return what the records of one block are."""
        source = Sources.of(self.table.file.name, "", block.records)
        read = read_positions(block.columns, self.position, source)
        columns = {name: self._convert(name, block.columns[name]) for name in self.names}
        if read.texts is not None:
            columns[POSITION_TEXT] = read.texts
        problems = (*block.problems, *read.problems)
        if self.options.rows_as_track:
            packet = self._take_fixes(columns, read, source)
        else:
            packet = read_foreign_points(
                columns,
                longitude=read.longitude,
                latitude=read.latitude,
                altitude=read.altitude,
                source=source,
                options=self.options,
            )
        return packet.replace(problems=(*problems, *packet.problems))

    def _take_fixes(self, columns: Mapping[str, ForeignColumn], read: ReadPositions, source: Sources) -> Packet:
        track, problems = read_foreign_fixes(
            columns,
            longitude=read.longitude,
            latitude=read.latitude,
            altitude=read.altitude,
            source=source,
            options=self.options,
            properties={},
            number=1,
        )
        return Packet(tracks=(track,) if len(track) else (), problems=tuple(problems))

    def _convert(self, name: str, cells: Any) -> ForeignColumn:
        """Return one column as values: exact numbers by kind; measures and times at once where they are regular."""
        if name in self.measures and self.kinds[name] == "text":
            numbers = read_numbers(cells, self.options.decimal_mark)
            return to_objects(cells) if numbers is None else numbers
        if name in self.times:
            times = _cast_times(cells)
            return to_objects(cells) if times is None else times
        return to_foreign(cells, self.kinds[name])


def _cast_times(cells: Any) -> TimeColumn | None:
    """Return a column of ISO times at once, or ``None`` where a cell is none or carries no zone."""
    import pyarrow as pa

    try:
        return to_instants(empty_to_null(cells).cast(pa.timestamp("ms", "UTC")))
    except pa.ArrowInvalid:
        return None
