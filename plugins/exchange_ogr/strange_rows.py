"""Rows of strangers' layers: points to hotspots and places, lines to tracks, polygons to perimeters."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from exchange.formats.foreign import read_foreign_fixes, read_foreign_points
from exchange.formats.options import ReadOptions
from exchange.model import Packet, Perimeter, Problem, Source, Sources
from exchange.model.columns import ForeignColumn, to_scalar
from exchange_ogr.fields import read_columns
from exchange_ogr.projection import LayerProjection

_POINTS, _LINES, _AREAS = ("Point", "MultiPoint"), ("LineString", "MultiLineString"), ("Polygon", "MultiPolygon")


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

    def read(self, records: Sequence[Any], first_record: int) -> Iterator[Packet]:
        """Yield what a batch of fiona records holds; ``first_record`` is counted from 1."""
        import shapely
        from shapely.geometry import shape

        columns = read_columns(records, self._fields)
        number = np.arange(first_record, first_record + len(records))
        made = [None if record["geometry"] is None else shape(record["geometry"]) for record in records]
        geometries, rows = _take_apart(np.array(made, dtype=object))
        kinds = np.array([None if geometry is None else geometry.geom_type for geometry in geometries], dtype=object)
        points = np.isin(kinds, ["Point"]) | np.array([geometry is None for geometry in geometries], dtype=bool)
        if points.any():
            yield self._read_points(geometries[points], rows[points], columns, number)
        for index in np.flatnonzero(~points):
            row, geometry = int(rows[index]), geometries[index]
            if shapely.is_empty(geometry):
                yield Packet(problems=(self._problem("the geometry is empty", int(number[row])),))
            elif kinds[index] in _LINES:
                yield self._read_line(geometry, row, columns, int(number[row]))
            elif kinds[index] in _AREAS:
                yield self._read_area(geometry, row, columns, int(number[row]))
            else:
                kind = f"a {kinds[index]} is neither point, line nor polygon"
                yield Packet(problems=(self._problem(kind, int(number[row])),))

    def finish(self) -> Iterator[Packet]:
        """Yield what is known only after the last row: the datum shift."""
        yield Packet(problems=tuple(self._projection.describe() if self._projection else []))

    def _read_points(
        self, points: NDArray[Any], rows: NDArray[Any], columns: Mapping[str, ForeignColumn], number: NDArray[Any]
    ) -> Packet:
        import shapely

        x, y, z = shapely.get_x(points), shapely.get_y(points), shapely.get_z(points)
        longitude, latitude = self._projection.transform(x, y) if self._projection else (x, y)
        source = Sources.of(self._path, self._layer, number[rows])
        taken = {name: column[rows] for name, column in columns.items()}
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


def _take_apart(geometries: NDArray[Any]) -> tuple[NDArray[Any], NDArray[np.int64]]:
    """Return the geometries with multi-points and mixed collections in single parts, and the row of each part."""
    import shapely

    parts: list[Any] = []
    rows: list[int] = []
    for row, geometry in enumerate(geometries):
        mixed = geometry is not None and geometry.geom_type in ("MultiPoint", "GeometryCollection")
        pieces = list(shapely.get_parts(geometry)) if mixed else [geometry]
        parts += pieces
        rows += [row] * len(pieces)
    taken = np.empty(len(parts), dtype=object)
    taken[:] = parts
    return taken, np.array(rows, dtype=np.int64)
