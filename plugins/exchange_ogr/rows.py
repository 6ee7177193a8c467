"""A layer's rows, taken apart into one list a field while fiona hands them over one by one, and put together again."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import chain, islice
from typing import Any

import numpy as np
from numpy.typing import NDArray

_CHUNK = 128
"""Records held at a time: so few that they are still in the processor's cache when they become columns."""
_NOWHERE = (np.nan, np.nan, np.nan)


@dataclass
class Rows:
    """A batch of a layer's rows.

    Attributes
    ----------
    geometries
        One a row: the coordinates of a point as a tuple, ``None`` where there is none, else a fiona geometry.
    values
        By field, one a row, as fiona read them.
    """

    geometries: list[Any]
    values: dict[str, list[Any]]

    @classmethod
    def of(cls, fields: Iterable[str]) -> Rows:
        """Return no rows yet of a layer with these fields."""
        return cls([], {name: [] for name in fields})

    def extend(self, rows: Rows) -> None:
        """Add rows of the same layer at the end."""
        self.geometries += rows.geometries
        for name, values in rows.values.items():
            self.values[name] += values


def read_rows(collection: Iterable[Any], fields: Collection[str], size: int) -> Iterator[Rows]:
    """Yield an open layer's rows, ``size`` at a time."""
    records = iter(collection)
    while (rows := _read_batch(records, fields, size)).geometries:
        yield rows


def _read_batch(records: Iterator[Any], fields: Collection[str], size: int) -> Rows:
    rows = Rows.of(fields)
    for start in range(0, size, _CHUNK):
        chunk = []
        for record in islice(records, min(_CHUNK, size - start)):
            geometry, properties = record.geometry, record.properties
            is_point = geometry is not None and geometry.type == "Point"
            rows.geometries.append(geometry.coordinates if is_point else geometry)
            # Properties copy all their values for each one asked; the dict they keep does not.
            chunk.append(getattr(properties, "_data", properties))
        if not chunk:
            break
        for name, values in rows.values.items():
            values += [row[name] for row in chunk]
    return rows


def build_records(geometries: Iterable[Any], columns: Mapping[str, Iterable[Any]]) -> Iterator[Any]:
    """Yield fiona features from geometries and values as ``Rows`` holds them."""
    from fiona.model import Feature, Geometry

    names = list(columns)
    for place, *values in zip(geometries, *columns.values(), strict=True):
        geometry = Geometry(coordinates=place, type="Point") if isinstance(place, tuple) else place
        # A plain dict: with properties of fiona's own, writing takes about twice as long.
        yield Feature(geometry=geometry, properties=dict(zip(names, values, strict=True)))


def build_shape(geometry: Any) -> Any:
    """Return one geometry of ``Rows`` as shapely has it."""
    from shapely.geometry import Point, shape

    return Point(geometry) if isinstance(geometry, tuple) else shape(geometry)


def build_positions(points: Sequence[tuple[float, ...] | None]) -> NDArray[np.float64]:
    """Return coordinates of points as an array of shape (n, 3), NaN where one is not given."""
    padded = (p if p and len(p) == 3 else (*(p or ()), *_NOWHERE)[:3] for p in points)
    return np.fromiter(chain.from_iterable(padded), np.float64, 3 * len(points)).reshape(-1, 3)
