"""Tracks and perimeters that the house wrote."""

from __future__ import annotations

from typing import Any

import numpy as np

from exchange.formats.properties import build_perimeter, build_table, split_track_fields
from exchange.formats.values import from_text
from exchange.formats.xml.characters import restore_text
from exchange.model import Perimeter, Sources, Track
from exchange.model.columns import ForeignColumn
from exchange_kml.altitudes import split_heights
from exchange_kml.balloon import is_html
from exchange_kml.described import BALLOON, DESCRIPTION
from exchange_kml.fields import Schemas, read_array
from exchange_kml.fixes import restore_all
from exchange_kml.gather import Batch
from exchange_kml.geometry import Geometry, read_geometry
from exchange_kml.house_fields import HouseFields
from exchange_kml.problems import FORWARD_REMEDY, Teller
from exchange_kml.take import GEOMETRY
from exchange_kml.walker import Streamed, Walker

LABEL = "label"


def read_track(batch: Batch, row: int, fields: HouseFields, sources: Sources, walker: Walker, number: int) -> Track:
    """Return one track.

    Raises
    ------
    MalformedError
        When a value of a column is not of its kind.
    """
    properties = _read_properties(fields, row)
    properties["name"] = fields.name[row]
    streamed = batch.streamed.get(row, Streamed())
    columns = (
        _read_streamed(streamed, walker.schemas)
        if streamed.tracks
        else _read_lines(batch, row, streamed, walker.schemas)
    )
    length = len(next(iter(columns.values()), ()))
    source = sources.take(np.full(length, row))
    return build_table(Track, columns, source=source, number=number, **split_track_fields(properties))


def read_perimeter(batch: Batch, row: int, fields: HouseFields, sources: Sources, teller: Teller) -> Perimeter:
    """Return one perimeter.

    Raises
    ------
    MalformedError
        When a text is no number or no time.
    """
    from shapely.geometry import MultiPolygon, Polygon

    properties = _read_properties(fields, row)
    _settle_label(properties, fields.name[row])
    for name in ("tracks", "quality"):
        if isinstance(properties.get(name), str):
            properties[name] = from_text(properties[name], "json")
    geometry = _read_geometry(batch, row)
    place = sources[row]
    for fault, count in geometry.faults.count.items():
        value = geometry.faults.first[fault][1]
        teller.tell(
            fault,
            layer=place.layer,
            record=place.record,
            field="coordinates",
            value=value,
            count=count,
            severity="changed",
            remedy=FORWARD_REMEDY,
        )
    polygons = geometry.polygons
    shape = MultiPolygon(polygons) if len(polygons) > 1 else polygons[0] if polygons else Polygon()
    return build_perimeter(properties, geometry=shape, source=place)


def _settle_label(properties: dict[str, Any], shown: str) -> None:
    if not properties.get("id"):
        properties["name"] = shown
    elif shown and shown != properties["id"]:
        properties[LABEL] = shown


def _read_properties(fields: HouseFields, row: int) -> dict[str, Any]:
    properties = fields.row(row)
    shown = fields.description[row]
    if shown:
        properties[BALLOON if is_html(shown) else DESCRIPTION] = shown
    return properties


def _read_geometry(batch: Batch, row: int) -> Geometry:
    cells = batch.columns.get(GEOMETRY)
    xml = cells[row].as_py() if cells is not None else None
    return read_geometry(xml) if xml else Geometry()


def _read_streamed(streamed: Streamed, schemas: Schemas) -> dict[str, ForeignColumn]:
    """Return the columns of a track with a time at every fix; each of its parts is a segment."""
    positions = [part.positions.finish() for part in streamed.tracks]
    lengths = [len(piece) for piece in positions]
    modes = np.repeat(np.array([part.altitude_mode for part in streamed.tracks], dtype=object), lengths)
    together = np.concatenate(positions)
    times = [part.times.finish() for part in streamed.tracks]
    fitted = [
        np.concatenate([time[:n], np.full(max(n - len(time), 0), "NaT", dtype="datetime64[ms]")])
        for time, n in zip(times, lengths, strict=True)
    ]
    columns: dict[str, ForeignColumn] = {
        "longitude": together[:, 0],
        "latitude": together[:, 1],
        "altitude": split_heights(together[:, 2], modes).altitude,
        "time": np.concatenate(fitted),
        "segment": np.repeat(np.arange(len(lengths)), lengths),
    }
    names = dict.fromkeys(key for part in streamed.tracks for key in part.arrays)
    for url, name in names:
        pieces = [part.arrays.get((url, name), np.empty(0, dtype=object)) for part in streamed.tracks]
        padded = [_fit(piece, n) for piece, n in zip(pieces, lengths, strict=True)]
        columns[restore_text(name)] = _read_column(np.concatenate(padded), url, name, schemas)
    return columns


def _read_lines(batch: Batch, row: int, streamed: Streamed, schemas: Schemas) -> dict[str, ForeignColumn]:
    """Return the columns of a track that is drawn as lines: what the lines do not say stands in columns beside."""
    beside = {
        restore_text(name): _read_column(texts, url, name, schemas) for (url, name), texts in streamed.arrays.items()
    }
    if "longitude" in beside and "latitude" in beside:
        return beside
    lines = _read_geometry(batch, row).lines
    if not lines:
        return beside
    lengths = [len(line.positions) for line in lines]
    together = np.concatenate([line.positions for line in lines])
    modes = np.repeat(np.array([line.altitude_mode for line in lines], dtype=object), lengths)
    drawn: dict[str, ForeignColumn] = {
        "longitude": together[:, 0],
        "latitude": together[:, 1],
        "altitude": split_heights(together[:, 2], modes).altitude,
        "segment": np.repeat(np.arange(len(lines)), lengths),
    }
    return drawn | {name: column for name, column in beside.items() if len(column) == len(together)}


def _fit(texts: ForeignColumn, length: int) -> ForeignColumn:
    missing = np.full(max(length - len(texts), 0), "", dtype=object)
    return np.concatenate([texts[:length], missing])


def _read_column(texts: ForeignColumn, url: str, name: str, schemas: Schemas) -> ForeignColumn:
    return read_array(restore_all(texts), schemas.type_of(url, name))
