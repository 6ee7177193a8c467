from __future__ import annotations

import math
from datetime import UTC, datetime

import numpy as np
import pytest

from exchange.ledger.cells import read_extra, read_instants, read_json, write_extra, write_instants, write_json
from exchange.model import Detections


@pytest.mark.parametrize("values", [
    [math.inf, -math.inf, 1.5], [2**70, -(2**70), None], [{"$instant": "no instant"}, {"$object": 1}, {"a": [1, {}]}],
    [datetime(2026, 8, 14, tzinfo=UTC), "2026-08-14", 7], [True, False, None], ["007", "", "NaN"], [1e16, 1e-7, 0.1],
    [[1, [2, None]], [], None],
])  # fmt: skip
@pytest.mark.parametrize("name", ["field", "$field", "$instant", "$object", "füße"])
def test_foreign_values_of_every_kind_come_back(name: str, values: list[object]) -> None:
    """Infinite, huge, nested and marked values keep value and type, whatever their field is called."""
    rows = Detections(longitude=[0.0, 1.0, 2.0], latitude=0.0, extra={name: values})
    returned = Detections(longitude=[0.0, 1.0, 2.0], latitude=0.0, extra=read_extra(write_extra(rows.extra, 3)))
    assert rows.differences(returned) == []


def test_json_keeps_instants_and_marks() -> None:
    """A nested value with an instant and with names like the marks is read as it was."""
    value = {"a": datetime(2026, 8, 14, 1, 2, 3, 4000, tzinfo=UTC), "$instant": [{"$object": None}], "b": {"$x": 2**80}}
    assert read_json(write_json(value)) == value


def test_instants_are_written_as_the_standard_says() -> None:
    """Text in UTC with milliseconds and Z (OGC 12-128, table 1), back to the millisecond; missing stays so."""
    times = np.array(["1899-12-31T23:59:59.999", "NaT", "2026-08-14T19:03:05.250"], dtype="datetime64[ms]")
    written = write_instants(times)
    assert written == ["1899-12-31T23:59:59.999Z", None, "2026-08-14T19:03:05.250Z"]
    np.testing.assert_array_equal(read_instants(written), times)
