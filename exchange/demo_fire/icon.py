"""One small picture, so that a KMZ has something inside."""

from __future__ import annotations

import struct
import zlib

_SIZE = 16


def draw_icon() -> bytes:
    """Return a PNG of 16 by 16 pixels, grey and alpha: a filled disc (PNG specification, ISO/IEC 15948)."""
    rows = bytearray()
    for y in range(_SIZE):
        rows.append(0)
        for x in range(_SIZE):
            inside = (x - 7.5) ** 2 + (y - 7.5) ** 2 < 42
            rows += bytes([60, 255 if inside else 0])
    header = struct.pack(">IIBBBBB", _SIZE, _SIZE, 8, 4, 0, 0, 0)
    text = b"Comment\0invented"
    chunks = ((b"IHDR", header), (b"tEXt", text), (b"IDAT", zlib.compress(bytes(rows), 0)), (b"IEND", b""))
    return b"\x89PNG\r\n\x1a\n" + b"".join(_chunk(kind, content) for kind, content in chunks)


def _chunk(kind: bytes, content: bytes) -> bytes:
    return struct.pack(">I", len(content)) + kind + content + struct.pack(">I", zlib.crc32(kind + content))
