"""The hooks a plugin may implement, and the marker it marks them with."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import pluggy

from exchange.formats.format import Format

PROJECT = "exchange"

hookspec = pluggy.HookspecMarker(PROJECT)
hookimpl = pluggy.HookimplMarker(PROJECT)


@hookspec
def exchange_formats() -> Sequence[Format]:  # type: ignore[empty-body]  # a hook specification has no body
    """Return the formats that the plugin reads or writes."""


@hookspec
def exchange_profiles() -> Mapping[str, Mapping[str, Any]]:  # type: ignore[empty-body]
    """Return profiles of devices by name: their limits as plain data, as in ``exchange/handout/profiles/*.toml``."""
