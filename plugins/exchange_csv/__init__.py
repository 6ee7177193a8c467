"""Tables of text: CSV and TSV, of strangers and of the house."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from exchange.formats.hooks import hookimpl

if TYPE_CHECKING:
    from exchange.formats.format import Format


@hookimpl
def exchange_formats() -> Sequence[Format]:
    """Return the formats of this plugin."""
    from exchange_csv.format import CsvFormat, TsvFormat

    return [CsvFormat(), TsvFormat()]
