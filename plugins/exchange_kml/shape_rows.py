"""Tracks and perimeters as placemarks."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from exchange.formats.properties import flatten_perimeter, flatten_table, flatten_track_fields
from exchange.formats.text_columns import (
    TextCells,
    escape_xml,
    format_numbers,
    format_times,
    join_rows,
    slices,
)
from exchange.formats.xml.characters import clean_text
from exchange.model import Perimeter, Track
from exchange.model.columns import has_any_value
from exchange_kml.balloon import is_html
from exchange_kml.described import BALLOON
from exchange_kml.house_styles import PERIMETER_STYLE, TRACK_STYLE
from exchange_kml.names import house_schema
from exchange_kml.serialise import escape_text
from exchange_kml.style_plan import StylePlan
from exchange_kml.styles import STYLE_COLUMNS
from exchange_kml.typed import Field, declare, to_columns, write_extended_data, write_name

FIX = "fix"
"""What schemas of columns beside a track are called; each names the type of its columns."""


class ShapeRows:
    """Tracks or perimeters ready to be written.

    Parameters
    ----------
    kind
        ``track`` or ``perimeter``.
    items
        The tracks or perimeters.
    plan
        Where styles that come from elsewhere are entered.
    """

    def __init__(self, kind: str, items: Sequence[Any], plan: StylePlan) -> None:
        self.kind, self.items = kind, items
        own_style = TRACK_STYLE if kind == "track" else PERIMETER_STYLE
        rows, self.heads = [], []
        for item in items:
            fields = flatten_track_fields(item) if kind == "track" else flatten_perimeter(item)
            self.heads.append(_take_head(fields, plan, own_style, kind))
            rows.append(fields)
        self.fields = [Field.of(name, column) for name, column in to_columns(rows).items()]
        self.arrays = [_beside(track) for track in items] if kind == "track" else []

    def schemas(self) -> dict[str, dict[str, str]]:
        """Return the schemas of the fields by identifier, each field's type by name."""
        return declare(self.kind, self.fields)

    def array_schemas(self) -> dict[str, dict[str, str]]:
        """Return the schemas of the columns beside the tracks."""
        schemas: dict[str, dict[str, str]] = {}
        for field in (field for fields in self.arrays for field in fields):
            schemas.setdefault(house_schema(FIX, field.type_name), {})[field.name] = field.kml_type
        return schemas

    def write(self) -> Iterator[TextCells]:
        """Yield the placemarks piece by piece."""
        for row, item in enumerate(self.items):
            data = self._write_data(row)
            if self.kind == "track":
                yield from _write_track(item, self.heads[row], data, self.arrays[row])
            else:
                yield _cells(f"<Placemark>{self.heads[row]}{data}{write_polygons(item)}</Placemark>\n")

    def _write_data(self, row: int) -> str:
        return str(
            join_rows([_cells(""), *write_extended_data(self.kind, self.fields, slice(row, row + 1))])[0].as_py()
        )


def _cells(text: str) -> TextCells:
    import pyarrow as pa

    return pa.array([text], pa.string())


def _take_head(fields: dict[str, Any], plan: StylePlan, own_style: str, kind: str) -> str:
    """Return name, description, time and style as they stand in the file, and take out of the fields what they say."""
    name = fields.get("id") or fields.pop("name", "") if kind == "perimeter" else fields.pop("name", "")
    parts = [f"<name>{escape_text(clean_text(name))}</name>"] if name else []
    if isinstance(fields.get(BALLOON), str) and is_html(fields[BALLOON]):
        parts.append(f"<description>{escape_text(clean_text(fields.pop(BALLOON)))}</description>")
    if "as_of" in fields and kind == "perimeter":
        parts.append(f"<TimeStamp><when>{fields.pop('as_of')}</when></TimeStamp>")
    styles = {column: fields[column] for column in STYLE_COLUMNS if column in fields}
    drawn = plan.plan(styles) if styles and all(isinstance(value, str) for value in styles.values()) else None
    if drawn is not None and drawn.is_carried:
        for column in styles:
            del fields[column]
    url, inline = (drawn.url, drawn.inline) if drawn is not None else ("", "")
    url = url if url or inline else f"#{own_style}"
    return "".join(parts) + (f"<styleUrl>{escape_text(url)}</styleUrl>" if url else "") + inline


def _beside(track: Track) -> list[Field]:
    """Return the columns of a track that its geometry cannot say."""
    columns = flatten_table(track, without=("longitude", "latitude", "altitude", "time", "segment"))
    if not _is_timed(track) and has_any_value(track.time):
        columns["time"] = track.time
    if not _is_drawable(track):
        columns |= {"longitude": track.longitude, "latitude": track.latitude, "altitude": track.altitude}
        columns["segment"] = track.segment
    else:
        missing = np.isnan(track.altitude)
        if missing.any() and not missing.all():
            columns["altitude"] = track.altitude
        counted = np.repeat(np.arange(len(track.segment_rows())), [s.stop - s.start for s in track.segment_rows()])
        if (counted != track.segment).any():
            columns["segment"] = track.segment
    return [Field.of(name, column) for name, column in columns.items()]


def _is_timed(track: Track) -> bool:
    return bool(len(track)) and not bool(np.isnat(track.time).any())


def _is_drawable(track: Track) -> bool:
    """Tell whether the geometry says the whole position of every fix."""
    if not bool(track.has_position().all()):
        return False
    return _is_timed(track) or all(rows.stop - rows.start > 1 for rows in track.segment_rows())


def _write_track(track: Track, head: str, data: str, arrays: list[Field]) -> Iterator[TextCells]:
    segments = track.segment_rows()
    if _is_timed(track):
        yield _cells(f"<Placemark>{head}{data}")
        opening = ("<gx:MultiTrack>", "</gx:MultiTrack>") if len(segments) > 1 else ("", "")
        yield _cells(opening[0])
        for rows in segments:
            yield from _write_gx_track(track, rows, arrays)
        yield _cells(f"{opening[1]}</Placemark>\n")
        return
    yield _cells(f"<Placemark>{head}{data.removesuffix('</ExtendedData>')}")
    yield from _write_arrays(arrays, slice(0, len(track)))
    yield _cells("</ExtendedData>")
    yield from _write_lines(track, segments)
    yield _cells("</Placemark>\n")


def _write_gx_track(track: Track, rows: slice, arrays: list[Field]) -> Iterator[TextCells]:
    mode = _altitude_mode(track)
    yield _cells(f"<gx:Track>{mode}")
    for part in _within(rows):
        yield join_rows(["<when>", format_times(track.time[part]), "</when>\n"])
    for part in _within(rows):
        yield join_rows(["<gx:coord>", _write_coords(track, part), "</gx:coord>\n"])
    if arrays:
        yield _cells("<ExtendedData>")
        yield from _write_arrays(arrays, rows)
        yield _cells("</ExtendedData>")
    yield _cells("</gx:Track>")


def _within(rows: slice) -> Iterator[slice]:
    return (slice(rows.start + part.start, rows.start + part.stop) for part in slices(rows.stop - rows.start))


def _altitude_mode(track: Track) -> str:
    return "<altitudeMode>absolute</altitudeMode>" if has_any_value(track.altitude) else ""


def _write_coords(track: Track, rows: slice) -> TextCells:
    """Return ``longitude latitude altitude`` of each fix; the empty text where it has no position."""
    import pyarrow.compute as pc

    altitude = np.where(np.isnan(track.altitude[rows]), 0.0, track.altitude[rows])
    numbers = [format_numbers(track.longitude[rows]), format_numbers(track.latitude[rows]), format_numbers(altitude)]
    return pc.fill_null(pc.binary_join_element_wise(*numbers, " ", null_handling="emit_null"), "")


def _write_arrays(arrays: list[Field], rows: slice) -> Iterator[TextCells]:
    """Yield one block of extended data for each type of column beside the fixes."""
    for type_name in dict.fromkeys(field.type_name for field in arrays):
        yield _cells(f'<SchemaData schemaUrl="#{house_schema(FIX, type_name)}">')
        for field in (field for field in arrays if field.type_name == type_name):
            yield _cells(f'<gx:SimpleArrayData name="{write_name(field.name)}">')
            for part in _within(rows):
                yield join_rows(["<gx:value>", escape_xml(_fill(field.cells(part))), "</gx:value>\n"])
            yield _cells("</gx:SimpleArrayData>")
        yield _cells("</SchemaData>")


def _fill(cells: TextCells) -> TextCells:
    import pyarrow.compute as pc

    return pc.fill_null(cells, "")


def _write_lines(track: Track, segments: list[slice]) -> Iterator[TextCells]:
    """Yield the line a track is drawn as: its placed fixes, segment by segment."""
    placed = track.has_position()
    drawn = [rows for rows in (np.arange(s.start, s.stop)[placed[s]] for s in segments) if len(rows)]
    several = ("<MultiGeometry>", "</MultiGeometry>") if len(drawn) > 1 else ("", "")
    yield _cells(several[0])
    for rows in drawn:
        name = "LineString" if len(rows) > 1 else "Point"
        heights = track.altitude[rows]
        mode = "<altitudeMode>absolute</altitudeMode>" if not np.isnan(heights).any() else ""
        yield _cells(f"<{name}>{mode}<coordinates>")
        columns = [track.longitude[rows], track.latitude[rows], *([heights] if mode else [])]
        yield join_rows([_join_tuples(columns), "\n" if len(rows) > 1 else ""])
        yield _cells(f"</coordinates></{name}>")
    yield _cells(several[1])


def _join_tuples(columns: list[NDArray[np.float64]]) -> TextCells:
    import pyarrow.compute as pc

    return pc.binary_join_element_wise(*map(format_numbers, columns), ",")


def write_polygons(perimeter: Perimeter) -> str:
    """Return a perimeter's polygons, outer rings counter-clockwise and islands clockwise; nothing for an empty one."""
    shape: Any = perimeter.geometry
    parts = [part for part in getattr(shape, "geoms", [shape]) if not part.is_empty]
    polygons = "".join(map(_write_polygon, parts))
    return f"<MultiGeometry>{polygons}</MultiGeometry>" if shape.geom_type == "MultiPolygon" and parts else polygons


def _write_polygon(polygon: Any) -> str:
    from shapely.geometry.polygon import orient

    turned = orient(polygon)
    holes = "".join(f"<innerBoundaryIs>{_write_ring(ring)}</innerBoundaryIs>" for ring in turned.interiors)
    return f"<Polygon><outerBoundaryIs>{_write_ring(turned.exterior)}</outerBoundaryIs>{holes}</Polygon>"


def _write_ring(ring: Any) -> str:
    corners = np.asarray(ring.coords, dtype=np.float64)[:, :2]
    tuples = _join_tuples([np.ascontiguousarray(corners[:, 0]), np.ascontiguousarray(corners[:, 1])])
    return f"<LinearRing><coordinates>{' '.join(tuples.to_pylist())}</coordinates></LinearRing>"
