"""Values of the model as JSON, and back."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from exchange.formats.packed_json import pack_value, unpack_value

_INSTANTS = st.datetimes(min_value=datetime(1900, 1, 1)).map(
    lambda instant: instant.replace(tzinfo=UTC, microsecond=instant.microsecond // 1000 * 1000)
)
_LEAVES = st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False) | st.text() | _INSTANTS
_NAMES = st.text() | st.sampled_from(["$instant", "$object", "$whole", "$"])
_VALUES = st.recursive(_LEAVES, lambda inner: st.lists(inner) | st.dictionaries(_NAMES, inner), max_leaves=12)


@given(_VALUES)
def test_what_is_packed_comes_back(value: Any) -> None:
    """Instants, whole numbers of any size and names that look like marks come back through JSON text."""
    assert unpack_value(json.loads(json.dumps(pack_value(value)))) == value


@pytest.mark.parametrize(
    ("value", "packed"),
    [
        (np.datetime64("2026-08-14T19:03:05.250", "ms"), {"$instant": "2026-08-14T19:03:05.250Z"}),
        (np.datetime64("NaT"), {"$instant": None}),
        (np.int64(7), 7),
        (2**63, {"$whole": "9223372036854775808"}),
        ({"$instant": 1}, {"$object": {"$instant": 1}}),
    ],
)
def test_marks(value: Any, packed: Any) -> None:
    """What JSON has no word for becomes an object of one marked name."""
    assert pack_value(value) == packed
