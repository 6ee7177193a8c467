"""Tracks and perimeters as features."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from exchange.errors import AmbiguityError, CoordinateError, WriteError
from exchange.formats.properties import (
    KIND,
    PERIMETER,
    TRACK,
    flatten_perimeter,
    flatten_table,
    flatten_track_fields,
)
from exchange.model import Perimeter, Problem, Track
from exchange.model.columns import ForeignColumn, to_items
from exchange_geojson.geometry_text import join_cells, write_lines, write_polygons
from exchange_geojson.json_cells import JsonWriter, to_json_text
from exchange_geojson.names import FIXES, PIECE, UNCUT
from exchange_geojson.positions import AXES

PIECE_FIXES = 65_536
"""A longer track is written in several features, so that it need not be read whole."""


def write_track(track: Track, writer: JsonWriter) -> Iterator[str]:
    """Yield a track as one feature, or as several pieces of it where it is long."""
    for piece, start in enumerate(range(0, max(len(track), 1), PIECE_FIXES)):
        part = track.take(slice(start, start + PIECE_FIXES))
        geometry, columns = _split_fixes(part)
        fields = _guard_names(flatten_track_fields(track), (FIXES, PIECE))
        properties = {KIND: TRACK, **fields} | ({PIECE: piece} if piece else {})
        fixes = ",".join(f"{to_json_text(n)}:[{_write_column(c, n, writer)}]" for n, c in columns.items())
        members = [f"{to_json_text(n)}:{writer.dump(v, field=n)}" for n, v in properties.items()]
        members += [f'"{FIXES}":{{{fixes}}}']
        yield f'{{"type":"Feature","geometry":{geometry},"properties":{{{",".join(members)}}}}}'


def _write_column(column: ForeignColumn, name: str, writer: JsonWriter) -> str:
    if column.dtype.kind == "M" and name not in Track.column_names():
        return ",".join(writer.dump(value, field=name) for value in to_items(column))
    return join_cells(writer.to_cells(column, field=name))


def _split_fixes(track: Track) -> tuple[str, dict[str, ForeignColumn]]:
    """Return the geometry of a track, and the per-fix columns that it does not hold.

    Where the line cannot say all (a fix without a position, alone in its segment, or an edge that is cut at the
    180th meridian), the columns hold the positions too, and the line is for looking at.
    """
    columns = flatten_table(track, without=(*AXES, "segment"))
    placed = np.isfinite(track.longitude) & np.isfinite(track.latitude)
    runs = track.segment_rows()
    heights = np.isfinite(track.altitude)
    if heights.any() and not (heights.all() and placed.all()):
        columns["altitude"] = track.altitude
    if _is_plain(track, placed, runs):
        return write_lines(_stack(track, runs, with_altitude=bool(heights.all()))), columns
    own = {"longitude": track.longitude, "latitude": track.latitude, "segment": track.segment}
    own |= {"altitude": track.altitude} if heights.any() else {}
    rows = [np.flatnonzero(placed[run]) + run.start for run in runs]
    lines = _stack(track, [row for row in rows if len(row) > 1], with_altitude=bool(heights[placed].all()))
    return write_lines([piece for line in lines for piece in _cut(line)]), columns | own


def _is_plain(track: Track, placed: NDArray[np.bool_], runs: list[slice]) -> bool:
    if not len(track):
        return True
    step = np.abs(np.diff(track.longitude))
    step[[run.start - 1 for run in runs[1:]]] = 0.0
    numbers = [int(track.segment[run.start]) for run in runs]
    return (
        bool(placed.all())
        and numbers == list(range(len(runs)))
        and all(run.stop - run.start > 1 for run in runs)
        and bool((step <= 180.0).all() and (np.abs(track.longitude) <= 180.0).all())
    )


def _stack(track: Track, runs: Sequence[Any], *, with_altitude: bool) -> list[NDArray[np.float64]]:
    axes = AXES if with_altitude else AXES[:2]
    return [np.column_stack([getattr(track, axis)[run] for axis in axes]) for run in runs]


def _cut(line: NDArray[np.float64]) -> list[NDArray[np.float64]]:
    """Return the line cut at the 180th meridian (RFC 7946 §3.1.9)."""
    import shapely

    from exchange.geo.antimeridian import cut

    whole = cut(shapely.LineString(line))
    parts = getattr(whole, "geoms", [whole])
    return [shapely.get_coordinates(part, include_z=line.shape[1] > 2) for part in parts]


def write_perimeter(perimeter: Perimeter, writer: JsonWriter) -> str:
    """Return a perimeter as a feature: rings wound by the right-hand rule, cut at the 180th meridian.

    Raises
    ------
    WriteError
        When a position is not finite.
    """
    require_finite(perimeter)
    fields = _guard_names(flatten_perimeter(perimeter), (UNCUT,))
    properties = {KIND: PERIMETER, **fields}
    members = [f"{to_json_text(n)}:{writer.dump(v, field=n)}" for n, v in properties.items()]
    shape = _prepare_shape(perimeter, writer)
    if shape is not perimeter.geometry:
        members.append(f'"{UNCUT}":{write_polygons(perimeter.geometry)}')
    geometry = write_polygons(_orient(shape))
    return f'{{"type":"Feature","geometry":{geometry},"properties":{{{",".join(members)}}}}}'


def require_finite(perimeter: Perimeter) -> None:
    """Refuse a perimeter that JSON has no numbers for.

    Raises
    ------
    WriteError
        When a longitude or latitude is not finite.
    """
    import shapely

    if not np.isfinite(shapely.get_coordinates(perimeter.geometry)).all():
        raise WriteError(
            f"the perimeter {perimeter.name!r} has a position that is not finite", remedy="Mend the perimeter first."
        )


def _prepare_shape(perimeter: Perimeter, writer: JsonWriter) -> Any:
    from exchange.geo.antimeridian import cut

    try:
        return cut(perimeter.geometry)
    except (AmbiguityError, CoordinateError) as error:
        problem = Problem(
            message=f"the perimeter {perimeter.name!r} was not cut at the 180th meridian: {error.message}",
            severity="note",
            remedy=error.remedy or "",
            field="geometry",
        )
        writer.problems.append(problem)
        return perimeter.geometry


def _orient(shape: Any) -> Any:
    from exchange.geo.rings import orient

    return orient(shape)


def _guard_names(fields: dict[str, Any], taken: tuple[str, ...]) -> dict[str, Any]:
    """Return the fields with those escaped that would be taken for this format's own."""
    return {f"extra.{name}" if name in taken else name: value for name, value in fields.items()}
