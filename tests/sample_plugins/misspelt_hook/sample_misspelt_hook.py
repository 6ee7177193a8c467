"""A plugin that misspells the hook."""

from exchange.formats.hooks import hookimpl


@hookimpl
def exchange_format():
    return []
