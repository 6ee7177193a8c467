"""The hooks a plugin may implement, and the marker it marks them with."""

from __future__ import annotations

from collections.abc import Sequence

import pluggy

from exchange.formats.format import Format

PROJECT = "exchange"

hookspec = pluggy.HookspecMarker(PROJECT)
hookimpl = pluggy.HookimplMarker(PROJECT)


@hookspec
def exchange_formats() -> Sequence[Format]:  # type: ignore[empty-body]  # a hook specification has no body
    """Return the formats that the plugin reads or writes."""
