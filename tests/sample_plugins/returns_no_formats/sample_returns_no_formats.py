"""A plugin that answers with something that is no list of formats."""

from exchange.formats.hooks import hookimpl


@hookimpl
def exchange_formats():
    return ["marks"]
