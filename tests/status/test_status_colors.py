from __future__ import annotations

import numpy as np
import pytest

from exchange.status.colors import difference, find_nearest, parse_hex, to_lab

# G. Sharma, W. Wu, E. N. Dalal, Color Research and Application 30 (2005), table 1; from memory.
PUBLISHED = """
50.0000 2.6772 -79.7751 50.0000 0.0000 -82.7485 2.0425
50.0000 3.1571 -77.2803 50.0000 0.0000 -82.7485 2.8615
50.0000 2.8361 -74.0200 50.0000 0.0000 -82.7485 3.4412
50.0000 -1.3802 -84.2814 50.0000 0.0000 -82.7485 1.0000
50.0000 -1.1848 -84.8006 50.0000 0.0000 -82.7485 1.0000
50.0000 -0.9009 -85.5211 50.0000 0.0000 -82.7485 1.0000
50.0000 0.0000 0.0000 50.0000 -1.0000 2.0000 2.3669
50.0000 -1.0000 2.0000 50.0000 0.0000 0.0000 2.3669
50.0000 2.4900 -0.0010 50.0000 -2.4900 0.0009 7.1792
50.0000 2.4900 -0.0010 50.0000 -2.4900 0.0010 7.1792
50.0000 2.4900 -0.0010 50.0000 -2.4900 0.0011 7.2195
50.0000 2.4900 -0.0010 50.0000 -2.4900 0.0012 7.2195
50.0000 -0.0010 2.4900 50.0000 0.0009 -2.4900 4.8045
50.0000 -0.0010 2.4900 50.0000 0.0010 -2.4900 4.8045
50.0000 -0.0010 2.4900 50.0000 0.0011 -2.4900 4.7461
50.0000 2.5000 0.0000 50.0000 0.0000 -2.5000 4.3065
50.0000 2.5000 0.0000 73.0000 25.0000 -18.0000 27.1492
50.0000 2.5000 0.0000 61.0000 -5.0000 29.0000 22.8977
50.0000 2.5000 0.0000 56.0000 -27.0000 -3.0000 31.9030
50.0000 2.5000 0.0000 58.0000 24.0000 15.0000 19.4535
50.0000 2.5000 0.0000 50.0000 3.1736 0.5854 1.0000
50.0000 2.5000 0.0000 50.0000 3.2972 0.0000 1.0000
50.0000 2.5000 0.0000 50.0000 1.8634 0.5757 1.0000
50.0000 2.5000 0.0000 50.0000 3.2592 0.3350 1.0000
60.2574 -34.0099 36.2677 60.4626 -34.1751 39.4387 1.2644
63.0109 -31.0961 -5.8663 62.8187 -29.7946 -4.0864 1.2630
61.2901 3.7196 -5.3901 61.4292 2.2480 -4.9620 1.8731
35.0831 -44.1164 3.7933 35.0232 -40.0716 1.5901 1.8645
22.7233 20.0904 -46.6940 23.0331 14.9730 -42.5619 2.0373
36.4612 47.8580 18.3852 36.2715 50.5065 21.2231 1.4146
90.8027 -2.0831 1.4410 91.1528 -1.6435 0.0447 1.4441
90.9257 -0.5406 -0.9208 88.6381 -0.8985 -0.7239 1.5381
6.7747 -0.2908 -2.4247 5.8714 -0.0985 -2.2286 0.6377
2.0776 0.0795 -1.1350 0.9033 -0.0636 -0.5514 0.9082
"""
PAIRS = [[float(value) for value in line.split()] for line in PUBLISHED.split("\n") if line]


@pytest.mark.parametrize("pair", PAIRS, ids=lambda pair: f"{pair[-1]}")
def test_the_difference_is_the_published_one(pair: list[float]) -> None:
    """The colour difference equals the published test data to their four decimals, both ways round."""
    assert difference(pair[:3], pair[3:6]) == pytest.approx(pair[6], abs=5e-5)
    assert difference(pair[3:6], pair[:3]) == pytest.approx(pair[6], abs=5e-5)


@pytest.mark.parametrize(
    ("rgb", "lab"),
    [
        ((255, 0, 0), (53.24, 80.09, 67.20)),
        ((0, 255, 0), (87.74, -86.18, 83.18)),
        ((0, 0, 255), (32.30, 79.19, -107.86)),
        ((255, 255, 255), (100.0, 0.0, 0.0)),
        ((0, 0, 0), (0.0, 0.0, 0.0)),
    ],
)
def test_screen_colours_have_their_known_place(rgb: tuple[int, int, int], lab: tuple[float, float, float]) -> None:
    """The primaries of sRGB under D65 lie where tables of colour put them (from memory, to 0.05)."""
    assert to_lab(rgb) == pytest.approx(lab, abs=0.05)


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
