from __future__ import annotations

import numpy as np
import pytest

from exchange.status.colors import difference, find_nearest, parse_hex


def test_columns_of_colours_are_measured_at_once() -> None:
    """Arrays broadcast: one colour against several gives one difference each."""
    several = np.array([[50.0, 0.0, 0.0], [50.0, -1.0, 2.0]])
    assert difference([50.0, 0.0, 0.0], several) == pytest.approx([0.0, 2.3669], abs=5e-5)


KNOWN = {"#ff0000": "hot", "#00ff00": "out", "#d55e00": "hot", "#e69f00": "working"}


@pytest.mark.parametrize(
    ("text", "meaning"),
    [
        ("#fe0300", "hot"),
        ("#fe0300ff", "hot"),
        ("#E69F00", "working"),
        ("#0000ff", None),
        ("#de7f00", None),
        ("green", None),
        ("", None),
        ("#12345", None),
    ],
)
def test_a_colour_means_what_it_is_nearest_to(text: str, meaning: str | None) -> None:
    """Near a known colour it means the same; far from all, or between two meanings, it means nothing."""
    assert find_nearest(text, KNOWN, limit=12.0, margin=4.0) == meaning


def test_opacity_is_no_colour() -> None:
    """The eight digits of a colour with opacity are read without it."""
    assert parse_hex("#0a0b0c80") == (10, 11, 12)
