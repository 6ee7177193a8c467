"""The blocks of a table: the quick way where its quotes are proven regular, else the careful way."""

from __future__ import annotations

from collections.abc import Collection, Iterator

from exchange_csv.careful import read_carefully
from exchange_csv.cells import to_mask
from exchange_csv.quotes import has_regular_quotes
from exchange_csv.regular import read_even, read_mended
from exchange_csv.table import Block, TextTable


class Blocks:
    """The blocks of a table, gone through as often as asked; kept where the table is small.

    Parameters
    ----------
    table
        The table.
    needed
        Columns that a record must have cells for, though later ones may be missing.
    """

    def __init__(self, table: TextTable, needed: Collection[str]) -> None:
        self.table, self.needed = table, needed
        self.is_regular = is_regular(table)
        self.kept: list[Block] | None = None

    def each(self) -> Iterator[Block]:
        """Go through the table from its start.

        Raises
        ------
        MalformedError
            When the quotes of a record do not match.
        """
        if self.kept is None and self.table.is_small():
            self.kept = list(self._read())
        yield from self._read() if self.kept is None else self.kept

    def _read(self) -> Iterator[Block]:
        import pyarrow as pa

        if not self.is_regular:
            yield from read_carefully(self.table, self.needed)
            return
        if self.table.is_small():
            try:
                yield from read_even(self.table)
                return
            except pa.ArrowInvalid:  # a record is uneven; nothing has been handed out
                pass
        yield from self._read_mended()

    def _read_mended(self) -> Iterator[Block]:
        """Read the quick way, and where Arrow gives up, the rest the careful way."""
        import pyarrow as pa

        last = 0
        try:
            for block in read_mended(self.table, self.needed):
                last = max(last, int(block.records[-1]) if len(block) else last)
                yield block
        except pa.ArrowInvalid:
            for block in read_carefully(self.table, self.needed):
                yield _take_after(block, last)


def is_regular(table: TextTable) -> bool:
    """Tell whether the quick way may read a table; a blank line is a record to Arrow where there is one column."""
    if len(table.dialect.names) == 1:
        return False
    with table.open_data() as stream:
        return has_regular_quotes(stream, table.dialect.separator)


def _take_after(block: Block, record: int) -> Block:
    later = block.records > record
    columns = {name: cells.filter(to_mask(later)) for name, cells in block.columns.items()}
    return Block(columns, block.records[later], tuple(p for p in block.problems if p.record > record))
