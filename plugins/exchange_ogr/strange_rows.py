"""Rows of strangers' layers: points to hotspots and places, lines to tracks, polygons to perimeters."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from exchange.formats.foreign import read_foreign_fixes, read_foreign_points
from exchange.formats.options import ReadOptions
from exchange.model import Packet, Perimeter, Problem, Source, Sources
from exchange.model.columns import ForeignColumn, take_rows, to_scalar
from exchange_ogr.fields import read_columns
from exchange_ogr.projection import LayerProjection
from exchange_ogr.rows import Rows, build_positions, build_shape

_LINES, _AREAS = ("LineString", "MultiLineString"), ("Polygon", "MultiPolygon")


class StrangeLayer:
    """Read the rows of one layer that this program did not write.

    Parameters
    ----------
    path, layer
        Where the rows come from.
    fields
        Type by field name, as fiona's schema gives them.
    projection
        To WGS 84; ``None`` for a layer without geometry.
    options
        What the file does not say of itself.
    """

    def __init__(
        self, path: str, layer: str, fields: Mapping[str, str], projection: LayerProjection | None, options: ReadOptions
    ) -> None:
        self._path, self._layer = path, layer
        self._fields, self._projection, self._options = fields, projection, options
        self._tracks = 0

    def read(self, rows: Rows, first_record: int) -> Iterator[Packet]:
        """Yield what a batch of rows holds; ``first_record`` is counted from 1."""
        columns = read_columns(rows.values, self._fields)
        number = np.arange(first_record, first_record + len(rows.geometries))
        points, point_rows, others = _take_apart(rows.geometries)
        if points:
            yield self._read_points(build_positions(points), np.array(point_rows), columns, number)
        for row, geometry in others:
            yield self._read_shape(geometry, row, columns, int(number[row]))

    def finish(self) -> Iterator[Packet]:
        """Yield what is known only after the last row: the datum shift."""
        yield Packet(problems=tuple(self._projection.describe() if self._projection else []))

    def _read_points(
        self, positions: NDArray[Any], rows: NDArray[Any], columns: Mapping[str, ForeignColumn], number: NDArray[Any]
    ) -> Packet:
        x, y, z = positions.T
        longitude, latitude = self._projection.transform(x, y) if self._projection else (x, y)
        source = Sources.of(self._path, self._layer, number[rows])
        taken = {name: take_rows(column, rows) for name, column in columns.items()}
        words = np.full(len(rows), self._layer, dtype=object)
        if self._options.rows_as_track:
            track, problems = read_foreign_fixes(
                taken,
                longitude=longitude,
                latitude=latitude,
                altitude=z,
                source=source,
                options=self._options,
                properties={},
                name=self._layer,
                number=1,
            )
            return Packet(tracks=(track,), problems=tuple(problems))
        return read_foreign_points(
            taken,
            longitude=longitude,
            latitude=latitude,
            altitude=z,
            source=source,
            options=self._options,
            words=words,
        )

    def _read_shape(self, geometry: Any, row: int, columns: Mapping[str, ForeignColumn], record: int) -> Packet:
        if geometry.is_empty:
            return Packet(problems=(self._problem("the geometry is empty", record),))
        if geometry.geom_type in _LINES:
            return self._read_line(geometry, row, columns, record)
        if geometry.geom_type in _AREAS:
            return self._read_area(geometry, row, columns, record)
        kind = f"a {geometry.geom_type} is neither point, line nor polygon"
        return Packet(problems=(self._problem(kind, record),))

    def _read_line(self, geometry: Any, row: int, columns: Mapping[str, ForeignColumn], record: int) -> Packet:
        import shapely

        moved = self._project(geometry)
        positions, part = shapely.get_coordinates(shapely.get_parts(moved), include_z=True, return_index=True)
        self._tracks += 1
        properties = _row_values(columns, row)
        track, problems = read_foreign_fixes(
            {},
            longitude=positions[:, 0],
            latitude=positions[:, 1],
            altitude=positions[:, 2],
            source=Sources.of(self._path, self._layer, np.full(len(positions), record)),
            options=self._options,
            properties=properties,
            name=str(properties.get("name", "")),
            number=self._tracks,
            segment=part,
        )
        return Packet(tracks=(track,), problems=tuple(problems))

    def _read_area(self, geometry: Any, row: int, columns: Mapping[str, ForeignColumn], record: int) -> Packet:
        import shapely

        properties = _row_values(columns, row)
        name = properties.pop("name") if isinstance(properties.get("name"), str) else ""
        perimeter = Perimeter(
            geometry=shapely.force_2d(self._project(geometry)),
            name=name,
            extra=properties,
            source=Source(self._path, self._layer, record),
        )
        return Packet(perimeters=(perimeter,))

    def _project(self, geometry: Any) -> Any:
        return self._projection.transform_geometry(geometry) if self._projection else geometry

    def _problem(self, message: str, record: int) -> Problem:
        return Problem(message=message, path=self._path, layer=self._layer, record=record, field="geometry")


def _row_values(columns: Mapping[str, ForeignColumn], row: int) -> dict[str, Any]:
    values = {name: to_scalar(column[row]) for name, column in columns.items()}
    return {name: value for name, value in values.items() if value is not None and value != ""}


def _take_apart(geometries: Sequence[Any]) -> tuple[list[Any], list[int], list[tuple[int, Any]]]:
    """Return the points with the row of each, and all else in shapely's shape with its row.

    Multi-points and mixed collections come in single parts; a row without geometry counts as a point.
    """
    points: list[Any] = []
    rows: list[int] = []
    others: list[tuple[int, Any]] = []
    for row, geometry in enumerate(geometries):
        if geometry is None or isinstance(geometry, tuple):
            points.append(geometry)
            rows.append(row)
            continue
        for part in _split(build_shape(geometry)):
            if part.geom_type == "Point":
                points.append(part.coords[0] if part.coords else None)
                rows.append(row)
            else:
                others.append((row, part))
    return points, rows, others


def _split(geometry: Any) -> Sequence[Any]:
    return list(geometry.geoms) if geometry.geom_type in ("MultiPoint", "GeometryCollection") else [geometry]
