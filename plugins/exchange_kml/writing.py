"""A packet as one KML document, streamed."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path
from typing import Any, BinaryIO

import numpy as np
from numpy.typing import NDArray

from exchange.formats.options import WriteOptions
from exchange.formats.properties import TABLES
from exchange.formats.text_columns import TextCells, write_rows
from exchange.model import STATUS_WORDS, Packet, Problem
from exchange_kml.head import FolderPlan, HeadPlan, write_head
from exchange_kml.names import HOUSE, KIND_FOLDERS, NO_STATUS_FOLDER, STATUS_FOLDER
from exchange_kml.point_rows import PointRows
from exchange_kml.shape_rows import ShapeRows
from exchange_kml.style_plan import StylePlan
from exchange_kml.typed import declare

MOST_SORTED_ROWS = 10_000
"""Up to so many spots stand in folders by status; more stay in their own order, so that reading needs no sorting."""

Rows = Callable[[], Iterator[TextCells]]


def write_kml(packet: Packet, target: Path, options: WriteOptions) -> list[Problem]:
    """Write a packet as a KML file.

    Raises
    ------
    OSError
        When the file cannot be written.
    """
    with target.open("wb") as stream:
        return write_document(packet, stream, options, has_icons=False)


def write_document(packet: Packet, stream: BinaryIO, options: WriteOptions, *, has_icons: bool) -> list[Problem]:
    """Write a packet as a KML document to a stream of bytes; returns what could not be kept.

    Parameters
    ----------
    packet
        What to write; its attachments are the archive's business.
    stream
        Open for writing.
    options
        How to write it.
    has_icons
        Whether the icons of the statuses are beside the document.

    Raises
    ------
    OSError
        When the stream cannot be written to.
    """
    document = _Document(packet)
    title = options.title or packet.incident
    styles = list(document.plan.shared.values())
    pieces, order = write_head(HeadPlan(title, document.schemas, document.folders, styles, has_icons))
    stream.write(pieces[0].encode())
    for number, piece in zip(order, pieces[1:], strict=True):
        write_rows(stream, document.rows[number]())
        stream.write(piece.encode())
    return document.problems


class _Document:
    """The folders of a document, and how to write the rows of each."""

    def __init__(self, packet: Packet) -> None:
        self.plan = StylePlan()
        self.schemas: dict[str, dict[str, str]] = {}
        self.folders: list[FolderPlan] = []
        self.rows: list[Rows] = []
        self.problems: list[Problem] = []
        for kind in TABLES:
            table = getattr(packet, f"{kind}s")
            if len(table):
                self.add_points(kind, table)
        for kind, items in (("track", packet.tracks), ("perimeter", packet.perimeters)):
            if items:
                self.add_shapes(kind, items)
        self.tell_heights(packet)

    def add_points(self, kind: str, table: Any) -> None:
        points = PointRows.of(kind, table, self.plan)
        self.schemas |= declare(kind, points.fields)
        folder = FolderPlan(KIND_FOLDERS[kind], f"{HOUSE}-folder-{kind}")
        groups = _group_by_status(table) if kind == "detection" else None
        groups = groups or _group_by_layer(table)
        if groups is None:
            folder.rows = self.add_rows(points.write)
        else:
            number = _is_reordered([rows for _, _, rows in groups])
            for path, identifier, rows in groups:
                inner = _open_folder(folder, path, identifier)
                inner.rows = self.add_rows(partial(points.write, rows, number=number))
        self.folders.append(folder)

    def add_shapes(self, kind: str, items: Any) -> None:
        shapes = ShapeRows(kind, items, self.plan)
        self.schemas |= shapes.schemas() | shapes.array_schemas()
        rows = self.add_rows(shapes.write)
        self.folders.append(FolderPlan(KIND_FOLDERS[kind], f"{HOUSE}-folder-{kind}", rows))

    def add_rows(self, rows: Rows) -> int:
        self.rows.append(rows)
        return len(self.rows) - 1

    def tell_heights(self, packet: Packet) -> None:
        with_height = sum(bool(perimeter.geometry.has_z) for perimeter in packet.perimeters)
        if with_height:
            message = "the corners of a perimeter carry heights, which are not written"
            self.problems.append(Problem(message=message, count=with_height))


Group = tuple[tuple[str, ...], str, NDArray[np.int64]]


def _group_by_status(table: Any) -> list[Group] | None:
    """Return the rows by status in the order of work; ``None`` when there is no status, or too many rows."""
    if len(table) > MOST_SORTED_ROWS or not (table.status != "").any():
        return None
    groups: list[Group] = []
    for status in (*STATUS_WORDS, ""):
        rows = np.flatnonzero(table.status == status)
        name = status or NO_STATUS_FOLDER
        if len(rows):
            groups.append(((name,), f"{STATUS_FOLDER}{name.replace(' ', '-')}", rows))
    return groups if sum(len(rows) for _, _, rows in groups) == len(table) else None


def _group_by_layer(table: Any) -> list[Group] | None:
    """Return the rows by the folder path they came from; ``None`` when that is not known, or would need sorting."""
    layers = [layer for _, layer in table.source.places]
    if not any(layers):
        return None
    code = table.source.code
    distinct = dict.fromkeys(layers[k] for k in np.unique(code).tolist())
    names = np.array([list(distinct).index(layer) if layer in distinct else 0 for layer in layers])[code]
    groups = [(_split_path(layer), "", np.flatnonzero(names == k)) for k, layer in enumerate(distinct)]
    groups.sort(key=lambda group: int(group[2][0]))
    if len(table) > MOST_SORTED_ROWS and _is_reordered([rows for _, _, rows in groups]):
        return None
    return groups


def _split_path(layer: str) -> tuple[str, ...]:
    return tuple(name for name in layer.split("/") if name)


def _is_reordered(groups: list[NDArray[np.int64]]) -> bool:
    return bool((np.diff(np.concatenate(groups)) < 0).any())


def _open_folder(folder: FolderPlan, path: tuple[str, ...], identifier: str) -> FolderPlan:
    """Return the folder at a path, made where it is not there yet."""
    for name in path:
        inner = next((each for each in folder.folders if each.name == name), None)
        if inner is None:
            inner = FolderPlan(name)
            folder.folders.append(inner)
        folder = inner
    folder.identifier = identifier or folder.identifier
    return folder
