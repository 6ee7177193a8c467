"""The formats CSV and TSV: tables of text with a separator."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import islice
from pathlib import Path
from typing import ClassVar

from exchange.errors import OptionError
from exchange.formats.format import Format, InputFile
from exchange.formats.holds import EVERYTHING, Holds
from exchange.formats.options import ReadOptions, WriteOptions
from exchange.model import Packet, Problem

_TEXT_PER_CONTROL = 20  # Text has hardly a control character; a file of anything else has many.


class _TableFormat(Format):
    """What CSV and TSV share."""

    holds: ClassVar[Holds] = Holds(
        tracks=EVERYTHING, perimeters=EVERYTHING, detections=EVERYTHING, notes=EVERYTHING, places=EVERYTHING
    )
    separator: ClassVar[str] = ""
    """What the format itself says; empty where the file or an option does."""

    def read(self, file: InputFile, options: ReadOptions) -> Iterator[Packet]:
        """Read a table, of a stranger or of the house, block by block."""
        from exchange_csv.read import read_table

        return read_table(file, options, separator=self.separator)

    def write(self, packet: Packet, target: Path, options: WriteOptions) -> Sequence[Problem]:
        """Write a packet as a table of the house."""
        from exchange_csv.dialect import read_separator
        from exchange_csv.write import write_table

        separator = read_separator(options.separator) if options.separator else self.separator or ","
        if self.separator and separator != self.separator:
            raise OptionError(
                "TSV is separated by tabs", field="--separator", remedy="Write CSV for another separator."
            )
        if options.decimal_mark not in ("", ".", ","):
            raise OptionError(f"{options.decimal_mark!r} is no decimal mark", field="--decimal", remedy="Give . or ,")
        write_table(packet, target, separator=separator, decimal_mark=options.decimal_mark or ".")
        return ()


class CsvFormat(_TableFormat):
    """Cells separated by commas, or by semicolons, tabs or pipes."""

    name = "csv"
    title = "table of text, separated by commas, semicolons, tabs or pipes (RFC 4180)"
    suffixes = (".csv", ".txt")
    media_type = "text/csv"

    def recognise(self, head: bytes) -> bool:
        """Tell whether a file may be a table of text: its first lines part into cells, and it is no markup."""
        return any(mark in line for line in _first_lines(head) for mark in ",;|\t")


class TsvFormat(_TableFormat):
    """Cells separated by tabs."""

    name = "tsv"
    title = "table of text, separated by tabs"
    suffixes = (".tsv", ".tab")
    media_type = "text/tab-separated-values"
    separator = "\t"

    def recognise(self, head: bytes) -> bool:
        """Tell whether the first lines of a file have tabs in them."""
        return any("\t" in line for line in _first_lines(head))


def _first_lines(head: bytes) -> list[str]:
    """Return the first lines of what may be a table of text; none where it is markup, JSON or no text."""
    from exchange_csv.encoding import find_wide, read_mark

    mark, name = read_mark(head)
    text = _decode(head[len(mark) :], name or find_wide(head))
    start = text.lstrip()[:1]
    beginning = text[:1024].rstrip("\0")
    controls = sum(character < " " and character not in "\t\r\n\f" for character in beginning)
    if not start or start in "<{[\x1e" or controls * _TEXT_PER_CONTROL > len(beginning):
        return []
    return [line for line in islice(text.splitlines(), 20) if line.strip()]


def _decode(data: bytes, name: str) -> str:
    """Return a head as text; without a mark UTF-8, or else bytes as characters, since the separators are ASCII."""
    if name:
        return data.decode(name, errors="ignore")
    try:
        return data[: data.rfind(b"\n") + 1 or None].decode("utf-8")
    except UnicodeDecodeError:
        return data.decode("latin-1")
