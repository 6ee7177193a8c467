"""Values of the model as JSON values, and back, exactly: instants, large whole numbers, names that look like marks."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any, Final

import numpy as np

from exchange.formats.values import format_instant

MARKED: Final = "$"
"""What the name of a mark begins with."""

INSTANT: Final = "$instant"
OBJECT: Final = "$object"
_WHOLE = "$whole"
_LARGEST = 2**63 - 1


def pack_value(value: Any) -> Any:
    """Return a value as what JSON holds; what JSON has no word for becomes an object of one marked name."""
    if isinstance(value, np.datetime64):
        return {INSTANT: None if np.isnat(value) else f"{np.datetime_as_string(value, unit='ms')}Z"}
    if isinstance(value, datetime):
        return {INSTANT: format_instant(value)}
    if isinstance(value, np.generic):
        return value.item()
    if isinstance(value, int) and not isinstance(value, bool) and abs(value) > _LARGEST:
        # Fast readers of JSON would take it for a float.
        return {_WHOLE: str(value)}
    if isinstance(value, Mapping):
        packed = {name: pack_value(inner) for name, inner in value.items()}
        return {OBJECT: packed} if any(name.startswith(MARKED) for name in value) else packed
    return [pack_value(inner) for inner in value] if isinstance(value, (list, tuple)) else value


def unpack_value(value: Any) -> Any:
    """Return the value that ``pack_value`` packed."""
    if isinstance(value, list):
        return [unpack_value(inner) for inner in value]
    if not isinstance(value, dict):
        return value
    if set(value) == {INSTANT}:
        return None if value[INSTANT] is None else datetime.fromisoformat(value[INSTANT]).astimezone(UTC)
    if set(value) == {_WHOLE}:
        return int(value[_WHOLE])
    if set(value) == {OBJECT}:
        value = value[OBJECT]
    return {name: unpack_value(inner) for name, inner in value.items()}
