"""The blocks of a table, by Arrow where it is regular, else the careful way."""

from __future__ import annotations

from collections.abc import Collection, Iterator

from exchange_csv.table import Block, TextTable


class Blocks:
    """The blocks of a table, gone through as often as asked; kept where the table is small."""

    def __init__(self, table: TextTable, needed: Collection[str]) -> None:
        self.table, self.needed = table, needed
        self.is_regular = table.is_regular()
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

        if self.is_regular:
            try:
                yield from self.table.read_regular()
            except pa.ArrowInvalid:
                self.is_regular = False
            else:
                return
        yield from self.table.read_carefully(self.needed)
