"""Icons of the status shapes, drawn here, so that a file shows them where there is no network.

Each is a white shape with a dark edge; the style's colour tints the white (OGC 12-007r2, 12.3: the colour is
multiplied with the icon).
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from exchange.model import STATUS_STYLES

FOLDER = "icons"
_SIZE, _FINER = 64, 4
_EDGE = 0.16
NO_STATUS_SHAPE = "dot"
"""Of a spot without a status word; no status has it, so that it is told apart in black and white."""

Plane = NDArray[np.float64]


def _circle(x: Plane, y: Plane) -> Plane:
    return np.asarray(0.8 - np.hypot(x, y))


def _dot(x: Plane, y: Plane) -> Plane:
    return np.asarray(0.45 - np.hypot(x, y))


def _triangle(x: Plane, y: Plane) -> Plane:
    sides = [0.45 - y, (y + 0.85 - 1.6 * np.abs(x)) / 1.887]
    return np.asarray(np.minimum(*sides) + 0.15)


def _square(x: Plane, y: Plane) -> Plane:
    return np.asarray(0.68 - np.maximum(np.abs(x), np.abs(y)))


def _diamond(x: Plane, y: Plane) -> Plane:
    return np.asarray((0.95 - np.abs(x) - np.abs(y)) / np.sqrt(2))


def _cross(x: Plane, y: Plane) -> Plane:
    u, v = (x + y) / np.sqrt(2), (x - y) / np.sqrt(2)
    bars = [np.minimum(0.95 - np.abs(a), 0.3 - np.abs(b)) for a, b in ((u, v), (v, u))]
    return np.asarray(np.maximum(*bars))


def _bar(x: Plane, y: Plane) -> Plane:
    return np.asarray(np.minimum(0.85 - np.abs(x), 0.36 - np.abs(y)))


SHAPES: dict[str, Callable[[Plane, Plane], Plane]] = {
    "circle": _circle,
    "triangle": _triangle,
    "square": _square,
    "diamond": _diamond,
    "cross": _cross,
    "bar": _bar,
    "dot": _dot,
}
"""Distance to the edge of each shape, positive inside, in a plane from -1 to 1; y points down."""


def draw_icon(shape: str) -> bytes:
    """Return a shape as a PNG of 64 x 64 pixels with a transparent ground."""
    steps = (np.arange(_SIZE * _FINER) + 0.5) / (_SIZE * _FINER) * 2 - 1
    x, y = np.meshgrid(steps, steps)
    distance = SHAPES[shape](x, y)
    inside, core = _shrink(distance > 0), _shrink(distance > _EDGE)
    white = np.round(255 * np.divide(core, inside, out=np.zeros_like(core), where=inside > 0))
    pixels = np.stack([white, white, white, np.round(255 * inside)], axis=-1).astype(np.uint8)
    return encode_png(pixels)


def _shrink(mask: NDArray[np.bool_]) -> Plane:
    """Return how much of each pixel a finer mask covers."""
    return np.asarray(mask.reshape(_SIZE, _FINER, _SIZE, _FINER).mean(axis=(1, 3)))


def encode_png(pixels: NDArray[np.uint8]) -> bytes:
    """Return RGBA pixels of shape (height, width, 4) as a PNG file (ISO/IEC 15948)."""
    height, width = pixels.shape[:2]
    header = struct.pack(">IIBBBBB", width, height, 8, 6, 0, 0, 0)
    rows = np.zeros((height, 1 + width * 4), dtype=np.uint8)
    rows[:, 1:] = pixels.reshape(height, -1)
    chunks = ((b"IHDR", header), (b"IDAT", zlib.compress(rows.tobytes(), 9)), (b"IEND", b""))
    return b"\x89PNG\r\n\x1a\n" + b"".join(_make_chunk(name, data) for name, data in chunks)


def _make_chunk(name: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))


def status_icons() -> dict[str, bytes]:
    """Return the icon of each status, and of none, by its name in an archive."""
    files = {icon_name(status): draw_icon(style.shape) for status, style in STATUS_STYLES.items()}
    return files | {icon_name(""): draw_icon(NO_STATUS_SHAPE)}


def icon_name(status: str) -> str:
    """Return the name of a status's icon in an archive.

    >>> icon_name("no heat")
    'icons/no-heat.png'
    """
    return f"{FOLDER}/{(status or 'no status').replace(' ', '-')}.png"
