"""A plugin whose hook asks for an argument that the hook does not give."""

from exchange.formats.hooks import hookimpl


@hookimpl
def exchange_formats(colour):
    return []
