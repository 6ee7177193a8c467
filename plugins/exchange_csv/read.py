"""Read a table of text: find how it is written, and whether the house or a stranger wrote it."""

from __future__ import annotations

from collections.abc import Iterator

from exchange.errors import OptionError
from exchange.formats.format import InputFile
from exchange.formats.options import ReadOptions
from exchange.formats.properties import KIND
from exchange.model import Packet
from exchange_csv.blocks import Blocks
from exchange_csv.dialect import Dialect, find_dialect, split_records
from exchange_csv.encoding import find_encoding
from exchange_csv.foreign import read_foreign
from exchange_csv.layout import is_own
from exchange_csv.own import read_own
from exchange_csv.table import TextTable, read_head


def read_table(file: InputFile, options: ReadOptions, *, separator: str = "") -> Iterator[Packet]:
    """Read a table of text into packets, block by block.

    Raises
    ------
    AmbiguityError
        When the file leaves its encoding, its header or its positions open.
    MalformedError
        When a record's quotes do not match, or a cell of a table of the house is no value of its column.
    OptionError
        When an option or the column mapping is not usable, or a layer is asked for: a table has none.
    """
    if options.layers:
        raise OptionError(
            f"there is no layer {options.layers[0]!r}", field="--layer", remedy="A table of text has no layers."
        )
    encoding = find_encoding(file, options.encoding)
    head = read_head(file, encoding)
    dialect = find_dialect(head, options, separator=separator, path=file.name)
    table = TextTable(file, encoding, dialect, options.batch_rows)
    if _is_own(head, dialect):
        yield from read_own(table, Blocks(table, ()).each())
    else:
        yield from read_foreign(table, options)


def _is_own(head: str, dialect: Dialect) -> bool:
    if KIND not in dialect.header:
        return False
    column = dialect.header.index(KIND)
    records = split_records(head.encode()[dialect.data_start :].decode(), dialect.separator)
    return is_own(dialect.header, [record.cells[column] for record in records if len(record.cells) > column])
