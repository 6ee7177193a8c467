"""One layer's attribute values as columns, typed as the layer's schema says."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from exchange.formats.time_text import parse_times
from exchange.model.columns import ForeignColumn, to_foreign_column, to_number_column, to_text_column

# The library hands seconds over as a float: 59.999 comes back as 59.999001.
_HALF_MILLISECOND = np.timedelta64(500, "us")


def read_columns(values: Mapping[str, Sequence[Any]], fields: Mapping[str, str]) -> dict[str, ForeignColumn]:
    """Return the values that fiona read by field name, instants with a zone as datetime64[ms]."""
    return {name: _read_column(values[name], kind) for name, kind in fields.items()}


def _read_column(values: Sequence[Any], kind: str) -> ForeignColumn:
    if kind.startswith("str"):
        return to_text_column(values, len(values))
    if kind.startswith("float"):
        return to_number_column(values, len(values))
    if kind.startswith("datetime"):
        return _read_instants(["" if value is None else str(value) for value in values])
    if kind.startswith("bytes"):
        return to_foreign_column([None if value is None else bytes(value).hex() for value in values])
    return to_foreign_column([list(value) if isinstance(value, tuple) else value for value in values])


def _read_instants(texts: list[str]) -> ForeignColumn:
    if all(text.endswith("+00:00") for text in texts if text):
        moments = np.array([text[:-6] or "NaT" for text in texts], dtype="datetime64[us]")
        return (moments + _HALF_MILLISECOND).astype("datetime64[ms]")
    parsed = parse_times([_to_milliseconds(text) for text in texts])
    if len(parsed.without_zone) or len(parsed.unreadable):
        return to_foreign_column(texts)
    return parsed.time


def _to_milliseconds(text: str) -> str:
    head, point, rest = text.partition(".")
    if not point:
        return text
    digits = rest[: len(rest) - len(rest.lstrip("0123456789"))]
    moment = np.datetime64(head, "us") + np.timedelta64(int(digits.ljust(6, "0")[:6]), "us") + _HALF_MILLISECOND
    return f"{moment.astype('datetime64[ms]')}{rest[len(digits) :]}"
