"""Placemarks that the house wrote, known by their mark, back into the rows, tracks and perimeters they were."""

from __future__ import annotations

import re
from typing import Any

import numpy as np
from numpy.typing import NDArray

from exchange.formats.arrow_columns import no_cells
from exchange.formats.properties import PERIMETER, TABLES, TRACK, build_table
from exchange.model import Packet, Sources
from exchange.model.columns import ForeignColumn, TextColumn, has_value, to_items
from exchange_kml import altitudes, coordinates
from exchange_kml.described import BALLOON
from exchange_kml.gather import Batch
from exchange_kml.house_fields import HouseFields, restore_batch, unescape_html
from exchange_kml.house_shapes import read_perimeter, read_track
from exchange_kml.names import NO_STATUS_FOLDER
from exchange_kml.problems import FORWARD_REMEDY, Teller
from exchange_kml.styles import StyleFinder
from exchange_kml.take import IDENTIFIER, POINT
from exchange_kml.walker import Container, Walker

LABEL = "label"
"""Foreign column that keeps a spot's name in the file where it is not the spot's number any more."""

FOLDER = "folder"
"""Foreign column that keeps the folder a spot was moved to, where that is not the folder of its status."""

_NAME_IS = {"detection": "id", "note": "detection", "place": "name"}
_DESCRIPTION_IS = {"detection": "note", "note": "text", "place": "note"}


class HouseReader:
    """Read batches of placemarks of one kind that carry the house's mark; parameters as for ``FeatureReader``."""

    def __init__(self, file: str, walker: Walker, teller: Teller, find_style: StyleFinder) -> None:
        self.file, self.walker, self.teller, self.find_style = file, walker, teller, find_style
        self._waiting: dict[str, list[Batch]] = {}
        self._track_numbers: dict[str, int] = {}

    def read(self, kind: str, batch: Batch) -> Packet:
        """Return what a batch of one kind holds.

        Raises
        ------
        MalformedError
            When a value is not of its column's kind; names the field and the record.
        """
        if kind in TABLES and _read_order(batch, kind) is not None:
            # Its rows stand in folders by status; only the end of the file tells their order.
            self._waiting.setdefault(kind, []).append(batch)
            return Packet()
        return self._build(kind, restore_batch(batch))

    def finish(self) -> Packet:
        """Return the rows that had to wait for the end of the file."""
        packets = []
        for kind, batches in self._waiting.items():
            batch = Batch.join(batches)
            order = _read_order(batch, kind)
            if order is not None:
                batch = batch.take(np.argsort(order, kind="stable"))
            packets.append(self._build(kind, restore_batch(batch)))
        return Packet.join(packets)

    def _build(self, kind: str, batch: Batch) -> Packet:
        fields = HouseFields.read(batch, self.walker.schemas, self.find_style, kind)
        if kind in TABLES:
            return Packet(**{f"{kind}s": self._build_points(kind, batch, fields)})
        sources = self._sources(batch)
        if kind == TRACK:
            numbers = [self._next_number(sources[row].layer) for row in range(len(batch))]
            pairs = zip(range(len(batch)), numbers, strict=True)
            return Packet(tracks=tuple(read_track(batch, row, fields, sources, self.walker, n) for row, n in pairs))
        assert kind == PERIMETER  # noqa: S101  # the five kinds are all there are
        return Packet(
            perimeters=tuple(read_perimeter(batch, row, fields, sources, self.teller) for row in range(len(batch)))
        )

    def _build_points(self, kind: str, batch: Batch, fields: HouseFields) -> Any:

        columns = dict(fields.columns)
        settle_name(columns, fields.name, kind)
        settle_description(columns, fields.description, _DESCRIPTION_IS[kind])
        settle_folder(columns, batch)
        texts = batch.columns.get(POINT, no_cells(len(batch)))
        read = coordinates.parse_points(texts)
        heights = altitudes.split_heights(read.altitude, fields.altitude_mode)
        position = {"longitude": read.longitude, "latitude": read.latitude, "altitude": heights.altitude}
        self._tell_faults(read, batch)
        for name, column in position.items():
            given = columns.pop(name, None)
            if given is not None:
                position[name] = np.where(np.isnan(column), _as_numbers(given), column)
        if not np.isnan(heights.ground).all():
            columns[altitudes.HEIGHT_COLUMN] = heights.ground
        if read.kept_text is not None:
            columns["position_text"] = read.kept_text
        table = TABLES[kind]
        fixed = {name: column for name, column in position.items() if name in table.column_names()}
        return build_table(table, columns, source=self._sources(batch), **fixed)

    def _tell_faults(self, read: coordinates.PointColumns, batch: Batch) -> None:
        for fault, count in read.faults.count.items():
            row, text = read.faults.first[fault]
            self.teller.tell(
                fault,
                severity="note" if fault in coordinates.NOTES else "skipped",
                layer=batch.containers[batch.container[row]].path(),
                record=int(batch.record[row]),
                field="coordinates",
                value=text,
                count=count,
                remedy=FORWARD_REMEDY,
            )

    def _sources(self, batch: Batch) -> Sources:
        places = [(self.file, container.path()) for container in batch.containers]
        return Sources(places, batch.container, batch.record)

    def _next_number(self, layer: str) -> int:
        self._track_numbers[layer] = self._track_numbers.get(layer, 0) + 1
        return self._track_numbers[layer]


def settle_name(columns: dict[str, ForeignColumn], shown: TextColumn, kind: str) -> None:
    """Enter what a placemark's name says: the number of a spot, else its name.

    Where the name in the file is no longer the spot's number, someone has changed it: it is kept as the label.
    """
    if _NAME_IS[kind] != "id":
        columns[_NAME_IS[kind]] = shown
        return
    identifier = columns.get("id", np.full(len(shown), "", dtype=object))
    name = columns.get("name", np.full(len(shown), "", dtype=object))
    is_numbered = identifier != ""
    columns["name"] = np.where(is_numbered, name, shown)
    changed = is_numbered & (shown != identifier) & (shown != "")
    if changed.any():
        columns[LABEL] = np.where(changed, shown, columns.get(LABEL, ""))


def settle_folder(columns: dict[str, ForeignColumn], batch: Batch) -> None:
    """Keep the folder by status that each row stands in where someone has moved it there from another one."""
    folders = np.array([_name_of_status_folder(each) for each in batch.containers], dtype=object)[batch.container]
    status = columns.get("status", np.full(len(folders), "", dtype=object))
    moved = (folders != "") & (folders != np.where(status != "", status, NO_STATUS_FOLDER))
    if moved.any():
        columns[FOLDER] = np.where(moved, folders, columns.get(FOLDER, ""))


def _name_of_status_folder(container: Container) -> str:
    stands_in_own = container.parent is not None and container.parent.is_house
    return container.name if container.is_house and stands_in_own else ""


def settle_description(columns: dict[str, ForeignColumn], shown: TextColumn, name: str) -> None:
    """Enter what a placemark's description says: the note as text, or foreign HTML beside the note."""
    from exchange_kml.balloon import find_html

    html = find_html(shown)
    if html.any():
        columns[BALLOON] = np.where(html, shown, columns.get(BALLOON, ""))
    given = columns.get(name, np.full(len(shown), "", dtype=object))
    is_note = ~html & (shown != "")
    columns[name] = np.where(is_note, unescape_html(shown), given) if is_note.any() else given


def _read_order(batch: Batch, kind: str) -> NDArray[np.int64] | None:
    """Return the place of each row in its table where the file's order is another, else ``None``."""
    cells = batch.columns.get(IDENTIFIER)
    if cells is None or cells.null_count:
        return None
    matches = [re.fullmatch(rf"{kind}-([0-9]{{1,9}})", text) for text in cells.to_pylist()]
    return np.array([int(match[1]) for match in matches if match], dtype=np.int64) if all(matches) else None


def _as_numbers(column: ForeignColumn) -> NDArray[np.float64]:
    if column.dtype.kind == "f":
        return column
    given = has_value(column).tolist()
    numbers = [float(item) if keep else np.nan for item, keep in zip(to_items(column), given, strict=True)]
    return np.array(numbers, dtype=np.float64)
