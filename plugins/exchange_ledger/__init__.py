"""Ledgers as an input, wherever files are read."""

from __future__ import annotations

from exchange.formats.format import Format
from exchange.formats.hooks import hookimpl


@hookimpl
def exchange_formats() -> list[Format]:
    """Return the format of this plugin."""
    from exchange_ledger.format import LedgerFormat

    return [LedgerFormat()]
