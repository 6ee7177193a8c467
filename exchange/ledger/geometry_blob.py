"""Geometry as GeoPackage keeps it: a short header, then well-known binary (OGC 12-128, section 2.1.3)."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from exchange.model.columns import NumberColumn

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

WGS84_SRS = 4326

_LITTLE_ENDIAN, _ENVELOPE_XY = 0b1, 0b10
_POINT = np.dtype(
    [("magic", "S2"), ("version", "u1"), ("flags", "u1"), ("srs", "<i4"),
     ("order", "u1"), ("type", "<u4"), ("x", "<f8"), ("y", "<f8")]
)  # fmt: skip
_SHAPE_HEADER = np.dtype(
    [("magic", "S2"), ("version", "u1"), ("flags", "u1"), ("srs", "<i4"),
     ("west", "<f8"), ("east", "<f8"), ("south", "<f8"), ("north", "<f8")]
)  # fmt: skip


def write_points(longitude: NumberColumn, latitude: NumberColumn) -> list[bytes | None]:
    """Return one blob a row, ``None`` where there is no position; degrees WGS 84, shape (n,)."""
    points = np.zeros(len(longitude), dtype=_POINT)
    points["magic"], points["flags"], points["srs"] = b"GP", _LITTLE_ENDIAN, WGS84_SRS
    points["order"], points["type"] = 1, 1
    points["x"], points["y"] = longitude, latitude
    packed, size = points.tobytes(), _POINT.itemsize
    blobs: list[bytes | None] = [packed[start : start + size] for start in range(0, len(packed), size)]
    for row in np.flatnonzero(np.isnan(longitude) | np.isnan(latitude)).tolist():
        blobs[row] = None
    return blobs


def write_shape(geometry: BaseGeometry) -> bytes:
    """Return the blob of a shapely geometry that is not empty, its envelope in the header."""
    import shapely

    header = np.zeros(1, dtype=_SHAPE_HEADER)
    header["magic"], header["flags"], header["srs"] = b"GP", _LITTLE_ENDIAN | _ENVELOPE_XY, WGS84_SRS
    header["west"], header["south"], header["east"], header["north"] = geometry.bounds
    return header.tobytes() + bytes(shapely.to_wkb(geometry, byte_order=1, flavor="iso"))


def read_shape(blob: bytes) -> Any:
    """Return the shapely geometry of a blob that ``write_shape`` wrote."""
    import shapely

    return shapely.from_wkb(blob[_SHAPE_HEADER.itemsize :])
