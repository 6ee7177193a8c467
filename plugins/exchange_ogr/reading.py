"""Read the layers of a data source, batch by batch."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from exchange.errors import MalformedError, OptionError
from exchange.formats.format import InputFile
from exchange.formats.options import ReadOptions
from exchange.model import Packet
from exchange_ogr.own_rows import OwnLayer
from exchange_ogr.projection import LayerProjection
from exchange_ogr.rows import read_rows
from exchange_ogr.strange_rows import StrangeLayer

MARK = "exchange"
"""The field that says what a row of the house's own layers is."""


def read_layers(file: InputFile, sources: Sequence[str], options: ReadOptions) -> Iterator[Packet]:
    """Read every layer, or those of ``options.layers``, of one or several data sources.

    Raises
    ------
    MalformedError
        When GDAL cannot read a source.
    OptionError
        When a layer asked for is not there.
    AmbiguityError
        When a layer with positions states no coordinate reference system and no option does.
    """
    layers = [(source, layer) for source in sources for layer in _list_layers(file, source)]
    names = [layer for _, layer in layers]
    for wanted in options.layers:
        if wanted not in names:
            raise OptionError(f"there is no layer {wanted!r}", path=file.name, remedy=f"Layers: {', '.join(names)}.")
    for source, layer in layers:
        if not options.layers or layer in options.layers:
            yield from _read_layer(file, source, layer, options)


def _list_layers(file: InputFile, source: str) -> list[str]:
    import fiona

    with _told(file):
        return list(fiona.listlayers(source))


def _read_layer(file: InputFile, source: str, layer: str, options: ReadOptions) -> Iterator[Packet]:
    import fiona

    with _told(file, layer), fiona.open(source, layer=layer) as collection:
        fields = dict(collection.schema["properties"])
        reader: OwnLayer | StrangeLayer
        if MARK in fields:
            reader = OwnLayer(file.name, layer, fields, sidecar=Path(source).with_suffix(".fields.json"))
        else:
            has_places = collection.schema["geometry"] != "None"
            projection = _find_projection(collection, options, file.name, layer) if has_places else None
            reader = StrangeLayer(file.name, layer, fields, projection, options)
        first = 1
        for rows in read_rows(collection, fields, options.batch_rows):
            yield from reader.read(rows, first)
            first += len(rows.geometries)
        _refuse_missing_rows(collection, first - 1, file.name, layer)
        yield from reader.finish()


def _refuse_missing_rows(collection: Any, read: int, path: str, layer: str) -> None:
    # The library ends quietly where a file is cut short.
    try:
        stated = len(collection)
    except TypeError:
        return
    if stated > read:
        raise MalformedError(
            f"holds {read} of the {stated} rows it states",
            path=path,
            layer=layer,
            remedy="The file was cut short on its way; ask its sender for it again.",
        )


def _find_projection(collection: Any, options: ReadOptions, path: str, layer: str) -> LayerProjection:
    return LayerProjection(collection.crs_wkt or "", options.crs, path=path, layer=layer)


@contextmanager
def _told(file: InputFile, layer: str = "") -> Iterator[None]:
    from fiona.errors import FionaError

    try:
        yield
    except (FionaError, RuntimeError, UnicodeDecodeError) as error:
        raise MalformedError(
            f"the GIS library cannot read it: {error}",
            path=file.name,
            layer=layer or None,
            remedy="Ask its sender for it again; a shapefile needs its .shx and .dbf beside it.",
        ) from error
