"""Which of several colours another is nearest to, as the eye sees it: CIELAB and the CIEDE2000 difference.

The formulas are those of CIE 015 (sRGB under D65 to CIELAB; sRGB after IEC 61966-2-1) and of G. Sharma, W. Wu and
E. N. Dalal, 'The CIEDE2000 Color-Difference Formula: Implementation Notes, Supplementary Test Data, and Mathematical
Observations', Color Research and Application 30 (2005).
"""

from __future__ import annotations

import re
from collections.abc import Mapping

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

_HEX = re.compile(r"#([0-9a-fA-F]{2})([0-9a-fA-F]{2})([0-9a-fA-F]{2})(?:[0-9a-fA-F]{2})?")
# Linear sRGB to XYZ under D65, and the white point (IEC 61966-2-1).
_TO_XYZ = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
_WHITE = np.array([0.9505, 1.0, 1.089])


def parse_hex(text: str) -> tuple[int, int, int] | None:
    """Return red, green and blue of ``#rrggbb`` or ``#rrggbbaa``, or ``None`` where the text is no colour.

    >>> parse_hex("#009E73"), parse_hex("green")
    ((0, 158, 115), None)
    """
    match = _HEX.fullmatch(text.strip())
    return (int(match[1], 16), int(match[2], 16), int(match[3], 16)) if match else None


def to_lab(rgb: ArrayLike) -> Floats:
    """Return CIELAB coordinates of sRGB values from 0 to 255, shape (..., 3) both."""
    share = np.asarray(rgb, np.float64) / 255.0
    linear = np.where(share <= 0.04045, share / 12.92, ((share + 0.055) / 1.055) ** 2.4)
    ratio = linear @ _TO_XYZ.T / _WHITE
    # CIE 015: the cube root, and a straight line below (6/29)^3.
    f = np.where(ratio > (6 / 29) ** 3, np.cbrt(ratio), ratio / (3 * (6 / 29) ** 2) + 4 / 29)
    x, y, z = np.moveaxis(f, -1, 0)
    return np.stack([116.0 * y - 16.0, 500.0 * (x - y), 200.0 * (y - z)], axis=-1)


def difference(first: ArrayLike, second: ArrayLike) -> Floats:
    """Return the CIEDE2000 differences between CIELAB colours, shape (..., 3) each, which broadcast.

    Names and equation numbers are those of Sharma, Wu and Dalal (2005); kL = kC = kH = 1.
    """
    (l1, a1, b1), (l2, a2, b2) = (np.moveaxis(np.asarray(lab, np.float64), -1, 0) for lab in (first, second))
    mean_c = (np.hypot(a1, b1) + np.hypot(a2, b2)) / 2
    g = 0.5 * (1 - np.sqrt(mean_c**7 / (mean_c**7 + 25.0**7)))
    c1, h1 = _chroma_and_hue((1 + g) * a1, b1)
    c2, h2 = _chroma_and_hue((1 + g) * a2, b2)
    is_gray = c1 * c2 == 0
    turn = h2 - h1
    turn = np.where(turn > 180, turn - 360, np.where(turn < -180, turn + 360, turn))
    d_l, d_c = l2 - l1, c2 - c1
    d_h = 2 * np.sqrt(c1 * c2) * np.sin(np.radians(np.where(is_gray, 0.0, turn) / 2))
    mean_l, mean_c = (l1 + l2) / 2, (c1 + c2) / 2
    mean_h = _mean_hue(h1, h2, is_gray)
    t = (
        1
        - 0.17 * np.cos(np.radians(mean_h - 30))
        + 0.24 * np.cos(np.radians(2 * mean_h))
        + 0.32 * np.cos(np.radians(3 * mean_h + 6))
        - 0.20 * np.cos(np.radians(4 * mean_h - 63))
    )
    s_l = 1 + 0.015 * (mean_l - 50) ** 2 / np.sqrt(20 + (mean_l - 50) ** 2)
    s_c, s_h = 1 + 0.045 * mean_c, 1 + 0.015 * mean_c * t
    rotation = 2 * np.sqrt(mean_c**7 / (mean_c**7 + 25.0**7))
    r_t = -np.sin(np.radians(60 * np.exp(-(((mean_h - 275) / 25) ** 2)))) * rotation
    l_part, c_part, h_part = d_l / s_l, d_c / s_c, d_h / s_h
    return np.asarray(np.sqrt(l_part**2 + c_part**2 + h_part**2 + r_t * c_part * h_part))


def find_nearest(text: str, colors: Mapping[str, str], *, limit: float, margin: float) -> str | None:
    """Return the meaning of the colour nearest to ``text``, or ``None`` where none is near enough.

    Parameters
    ----------
    text
        ``#rrggbb`` or ``#rrggbbaa``; opacity does not count.
    colors
        The meaning of each known colour, each as ``#rrggbb``.
    limit
        The greatest CIEDE2000 difference that still counts as the same colour.
    margin
        How much farther a colour of another meaning must be; else the colour is between two and means neither.
    """
    rgb = parse_hex(text)
    if rgb is None or not colors:
        return None
    known = [parse_hex(color) or (0, 0, 0) for color in colors]
    distance = difference(to_lab(rgb), to_lab(known))
    meanings = np.array(list(colors.values()), dtype=object)
    nearest = int(distance.argmin())
    others = distance[meanings != meanings[nearest]]
    is_between = others.size > 0 and others.min() - distance[nearest] < margin
    return None if distance[nearest] > limit or is_between else str(meanings[nearest])


def _chroma_and_hue(a: Floats, b: Floats) -> tuple[Floats, Floats]:
    return np.hypot(a, b), np.degrees(np.arctan2(b, a)) % 360


def _mean_hue(h1: Floats, h2: Floats, is_gray: NDArray[np.bool_]) -> Floats:
    total = h1 + h2
    is_apart = np.abs(h1 - h2) > 180
    mean = np.where(is_apart, np.where(total < 360, total + 360, total - 360), total) / 2
    return np.where(is_gray, total, mean)
