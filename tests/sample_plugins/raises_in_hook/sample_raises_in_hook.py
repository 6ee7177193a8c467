"""A plugin that raises when it is asked for its formats."""

from exchange.formats.hooks import hookimpl


@hookimpl
def exchange_formats():
    raise LookupError("no licence file")
