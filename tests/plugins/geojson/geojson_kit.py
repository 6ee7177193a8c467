"""What the tests of GeoJSON share."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from exchange.formats.options import ReadOptions
from exchange.formats.reading import read
from exchange.formats.writing import write
from exchange.model import Packet
from exchange.testing import host_with
from exchange_geojson.format import GeoJson, GeoJsonSequence

HOST = host_with(GeoJson(), GeoJsonSequence())
FIXTURES = Path(__file__).parents[3] / "fixtures" / "geojson"


def read_file(path: Path, **options: Any) -> Packet:
    """Read one file with both formats at hand."""
    return read(path, host=HOST, options=ReadOptions(**options))


def read_text(folder: Path, text: str | bytes, *, name: str = "made.geojson", **options: Any) -> Packet:
    """Read a text as a file."""
    path = folder / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return read_file(path, **options)


def read_value(folder: Path, value: Any, **options: Any) -> Packet:
    """Read a JSON value as a file."""
    return read_text(folder, json.dumps(value), **options)


def write_value(folder: Path, packet: Packet) -> Any:
    """Write a packet and return the JSON value of the file, read strictly by the standard library."""
    path = folder / "written.geojson"
    write(packet, path, host=HOST, overwrite=True)
    return json.loads(path.read_bytes(), parse_constant=_refuse)


def _refuse(text: str) -> None:
    raise AssertionError(f"{text} is no JSON")


def feature(geometry: Any, properties: Any = None, **members: Any) -> dict[str, Any]:
    """Return a feature."""
    return {"type": "Feature", "geometry": geometry, "properties": properties or {}, **members}


def collection(*features: Any, **members: Any) -> dict[str, Any]:
    """Return a collection of features."""
    return {"type": "FeatureCollection", "features": list(features), **members}


def point(*position: float) -> dict[str, Any]:
    """Return a point."""
    return {"type": "Point", "coordinates": list(position)}


def told(packet: Packet) -> dict[str, int]:
    """Return how often each thing was told."""
    return {problem.message: problem.count for problem in packet.problems}
