"""A stranger's table whose column of well-known text holds lines and polygons beside points."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from exchange.formats.arrow_columns import to_texts
from exchange.formats.foreign import read_foreign_fixes
from exchange.formats.options import ReadOptions
from exchange.model import Perimeter, Problem, Sources, Track
from exchange.model.columns import ForeignColumn, to_items
from exchange_csv.cells import to_mask
from exchange_csv.positions import ReadPositions, keep_texts


@dataclass(frozen=True)
class ReadShapes:
    """The shapes of some rows.

    Attributes
    ----------
    points
        The positions of the rows that are a point, or nothing that can be read.
    is_point
        Mask of those rows.
    geometries
        shapely geometries of all rows, shape (n,); ``None`` where there is none.
    """

    points: ReadPositions
    is_point: NDArray[np.bool_]
    geometries: NDArray[Any]


def read_shapes(cells: Any, source: Sources) -> ReadShapes:
    """Read a column of well-known text.

    Parameters
    ----------
    cells
        Arrow text, longitude before latitude, shape (n,).
    source
        Where the rows came from.
    """
    import shapely

    geometries = shapely.from_wkt(to_texts(cells), on_invalid="ignore")
    kinds = shapely.get_type_id(geometries)
    is_shape = np.isin(kinds, [_LINE, _POLYGON, _LINES, _POLYGONS]) & ~shapely.is_empty(geometries)
    points = np.where(kinds == _POINT, geometries, None)
    longitude, latitude = shapely.get_x(points), shapely.get_y(points)
    mask = ~is_shape
    rows = source.take(mask)
    read = keep_texts(
        longitude[mask], latitude[mask], [cells.filter(to_mask(mask))], rows, "the text is no shape that can be read"
    )
    altitude = shapely.get_z(points)[mask]
    points_read = ReadPositions(read.longitude, read.latitude, altitude, read.texts, read.problems)
    return ReadShapes(points_read, mask, geometries)


_POINT, _LINE, _POLYGON, _LINES, _POLYGONS = 0, 1, 3, 5, 6  # shapely.GeometryType


def build_shapes(
    shapes: ReadShapes, columns: Mapping[str, ForeignColumn], source: Sources, options: ReadOptions
) -> tuple[list[Track], list[Perimeter], list[Problem]]:
    """Return the tracks that the lines are and the perimeters that the polygons are, their fields as they came.

    Raises
    ------
    OptionError
        When the column mapping is not usable.
    """
    tracks: list[Track] = []
    perimeters: list[Perimeter] = []
    problems: list[Problem] = []
    for row in np.flatnonzero(~shapes.is_point).tolist():
        fields = {name: to_items(column[row : row + 1])[0] for name, column in columns.items()}
        fields = {name: value for name, value in fields.items() if value not in (None, "") and value == value}
        geometry = shapes.geometries[row]
        if "Polygon" in geometry.geom_type:
            name = next((str(fields.pop(n)) for n in list(fields) if n.strip().lower() == "name"), "")
            perimeters.append(Perimeter(geometry=geometry, name=name, extra=fields, source=source[row]))
        else:
            track, told = _build_track(geometry, fields, source, row, options)
            tracks.append(track)
            problems += told
    return tracks, perimeters, problems


def _build_track(
    geometry: Any, fields: dict[str, Any], source: Sources, row: int, options: ReadOptions
) -> tuple[Track, list[Problem]]:
    import shapely

    positions = shapely.get_coordinates(geometry, include_z=True)
    parts, of_part = shapely.get_parts([geometry], return_index=False), []
    for number, part in enumerate(parts):
        of_part += [number] * len(part.coords)
    place = source[row]
    return read_foreign_fixes(
        {},
        longitude=positions[:, 0],
        latitude=positions[:, 1],
        altitude=positions[:, 2],
        source=Sources.of(place.file, place.layer, np.full(len(positions), place.record)),
        options=options,
        properties=fields,
        segment=np.array(of_part, dtype=np.int64),
    )
