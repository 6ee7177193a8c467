"""One layer's attribute values as columns, typed as the layer's schema says."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from exchange.formats.time_text import parse_times
from exchange.model.columns import ForeignColumn, to_foreign_column


def read_columns(records: Sequence[Any], fields: Mapping[str, str]) -> dict[str, ForeignColumn]:
    """Return the attributes of fiona records by field name, instants with a zone as datetime64[ms]."""
    return {
        name: _read_column([record["properties"][name] for record in records], kind) for name, kind in fields.items()
    }


def _read_column(values: list[Any], kind: str) -> ForeignColumn:
    if kind.startswith("datetime"):
        return _read_instants(values)
    if kind.startswith("bytes"):
        return to_foreign_column([None if value is None else bytes(value).hex() for value in values])
    return to_foreign_column([list(value) if isinstance(value, tuple) else value for value in values])


def _read_instants(values: list[Any]) -> ForeignColumn:
    texts = ["" if value is None else str(value) for value in values]
    parsed = parse_times([_to_milliseconds(text) for text in texts])
    if len(parsed.without_zone) or len(parsed.unreadable):
        return to_foreign_column(texts)
    return parsed.time


def _to_milliseconds(text: str) -> str:
    # The library hands seconds over as a float: 59.999 comes back as 59.999001.
    head, point, rest = text.partition(".")
    if not point:
        return text
    digits = rest[: len(rest) - len(rest.lstrip("0123456789"))]
    moment = np.datetime64(head, "us") + np.timedelta64(int(digits.ljust(6, "0")[:6]) + 500, "us")
    return f"{moment.astype('datetime64[ms]')}{rest[len(digits) :]}"
