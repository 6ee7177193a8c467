"""The rows of what came back, each kind of table as one set of columns: names, signs, words, place and time."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from exchange.formats.values import to_texts
from exchange.model import Detections, Packet, Places, Sources, StatusNotes
from exchange.model.columns import ForeignColumn, NumberColumn, TextColumn, TimeColumn
from exchange.model.status import STATUS_WORDS
from exchange.status.signs import Sign, SignReader
from exchange.status.words.load import COLOR, COMMENT, FOLDER, STATUS, SYMBOL

RETURNED_SIGNS = "returned_signs"
"""Foreign column of a note: the signs that its status was read from, in words."""

LABEL = "label"
"""Foreign field that readers keep a changed name in, where the number is known from elsewhere in the record."""


@dataclass(kw_only=True)
class Returned:
    """Hold the rows of one table that came back, each column of shape (n,).

    Attributes
    ----------
    numbers
        Columns that hold nothing but numbers of spots.
    names
        Columns that hold names, as a person may have changed them.
    drawn
        Signs that every handed-out mark carries; they speak only where they differ from what was handed out.
    shapes
        What the shapes of symbols say, asked where their colours are silent.
    said
        Signs that a person made: ticks, and words for the status.
    stored
        The status that the file carried beside its signs, or empty.
    comments
        What was written about each row.
    known_signs
        What the signs of rows were that were read and weighed before; their status stands as it is.
    are_places
        Whether the reader took the rows for markers that are no hotspot.
    holds_numbers_only
        Whether ``numbers`` come from a sheet about numbered spots, where a bare ``14`` is one.
    """

    numbers: list[TextColumn]
    names: list[TextColumn]
    drawn: list[Sign]
    shapes: list[Sign]
    said: list[Sign]
    stored: TextColumn
    comments: list[TextColumn]
    time: TimeColumn
    last_seen: TimeColumn
    temperature: NumberColumn
    longitude: NumberColumn
    latitude: NumberColumn
    author: TextColumn
    origin: TextColumn
    source: Sources
    extra: dict[str, ForeignColumn] = field(default_factory=dict)
    known_signs: TextColumn
    are_places: bool = False
    holds_numbers_only: bool = False

    @cached_property
    def signs(self) -> TextColumn:
        """Return what the signs of each row are, in words."""
        signs = (*self.drawn, *self.said)
        columns = [[f"{sign.name} {text}" if text else "" for text in sign.texts.tolist()] for sign in signs]
        told = ["; ".join(filter(None, row)) for row in zip(*columns, strict=True)]
        return np.where(self.known_signs != "", self.known_signs, np.fromiter(told, dtype=object, count=len(told)))

    def __len__(self) -> int:
        """Return the number of rows."""
        return len(self.source)


def gather_returned(packet: Packet, reader: SignReader) -> list[Returned]:
    """Return the rows of a packet, table by table; empty tables are left out."""
    tables = []
    if len(packet.detections):
        tables.append(_from_detections(packet.detections, reader))
    if len(packet.notes):
        tables.append(_from_notes(packet.notes, reader))
    if len(packet.places):
        tables.append(_from_places(packet.places, reader))
    return tables


def _from_detections(rows: Detections, reader: SignReader) -> Returned:
    fields = _read_fields(rows.extra, reader)
    drawn = [reader.read_folders(rows.source.layer), *fields.drawn]
    # A file of the house carries the status it was written with beside what is drawn; a table only the status.
    is_drawn = np.logical_or.reduce([sign.says != 0 for sign in drawn])
    is_own = is_drawn & (rows.id != "") & np.isin(rows.status, STATUS_WORDS)
    stored = np.where(is_own, rows.status, "").astype(object)
    told = reader.read_texts("status", np.where(is_own, "", rows.status).astype(object))
    return Returned(
        numbers=_filled(rows.id),
        names=_filled(rows.name, *fields.labels),
        drawn=[told, *drawn],
        shapes=fields.shapes,
        said=fields.said,
        stored=stored,
        known_signs=_empty(len(rows)),
        comments=[rows.note, *fields.comments],
        time=rows.time,
        last_seen=rows.last_seen,
        temperature=rows.temperature,
        longitude=rows.longitude,
        latitude=rows.latitude,
        author=_empty(len(rows)),
        origin=rows.source.file,
        source=rows.source,
        extra=dict(rows.extra),
    )


def _from_notes(rows: StatusNotes, reader: SignReader) -> Returned:
    fields = _read_fields(rows.extra, reader)
    known_signs = to_texts(rows.extra[RETURNED_SIGNS]) if RETURNED_SIGNS in rows.extra else _empty(len(rows))
    drawn = [reader.read_folders(rows.source.layer), *fields.drawn]
    for sign in (*fields.said, *drawn, *fields.shapes):
        sign.silence(known_signs != "")
    return Returned(
        numbers=_filled(rows.detection),
        names=_filled(*fields.labels),
        drawn=drawn,
        shapes=fields.shapes,
        said=[reader.read_texts("status", rows.status), *fields.said],
        known_signs=known_signs,
        stored=_empty(len(rows)),
        comments=[rows.text, *fields.comments],
        time=rows.time,
        last_seen=np.full(len(rows), np.datetime64("NaT", "ms")),
        temperature=rows.temperature,
        longitude=rows.longitude,
        latitude=rows.latitude,
        author=rows.author,
        origin=np.where(rows.origin != "", rows.origin, rows.source.file),
        source=rows.source,
        extra=dict(rows.extra),
        holds_numbers_only=True,
    )


def _from_places(rows: Places, reader: SignReader) -> Returned:
    fields = _read_fields(rows.extra, reader)
    return Returned(
        numbers=[],
        names=_filled(rows.name, *fields.labels),
        drawn=[reader.read_folders(rows.source.layer), reader.read_symbol_colors(rows.symbol), *fields.drawn],
        shapes=[reader.read_symbol_shapes(rows.symbol), *fields.shapes],
        said=fields.said,
        stored=_empty(len(rows)),
        known_signs=_empty(len(rows)),
        comments=[rows.note, *fields.comments],
        time=rows.time,
        last_seen=np.full(len(rows), np.datetime64("NaT", "ms")),
        temperature=np.full(len(rows), np.nan),
        longitude=rows.longitude,
        latitude=rows.latitude,
        author=_empty(len(rows)),
        origin=rows.source.file,
        source=rows.source,
        extra=dict(rows.extra),
        are_places=True,
    )


@dataclass
class _Fields:
    """What the foreign fields of a table are."""

    drawn: list[Sign] = field(default_factory=list)
    shapes: list[Sign] = field(default_factory=list)
    said: list[Sign] = field(default_factory=list)
    comments: list[TextColumn] = field(default_factory=list)
    labels: list[TextColumn] = field(default_factory=list)


def _read_fields(extra: Mapping[str, ForeignColumn], reader: SignReader) -> _Fields:
    fields = _Fields()
    for name, column in extra.items():
        kind = reader.kind_of_field(name)
        if name == LABEL:
            fields.labels.append(to_texts(column))
        elif kind == SYMBOL:
            texts = to_texts(column)
            fields.drawn.append(reader.read_symbol_colors(texts))
            fields.shapes.append(reader.read_symbol_shapes(texts))
        elif kind == COLOR:
            fields.drawn.append(reader.read_colors(to_texts(column)))
        elif kind == FOLDER:
            fields.drawn.append(reader.read_folders(to_texts(column)))
        elif kind == COMMENT:
            fields.comments.append(to_texts(column))
        elif kind == STATUS:
            fields.said.append(reader.read_texts("status", to_texts(column)))
        elif ticks := reader.read_ticks(name, column):
            fields.said.append(ticks)
    return fields


def _filled(*columns: TextColumn) -> list[TextColumn]:
    return [column for column in columns if (column != "").any()]


def _empty(length: int) -> TextColumn:
    return np.full(length, "", dtype=object)
