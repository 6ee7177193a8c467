"""A batch of placemarks becomes a packet: the house's own rows by their marks, all others as a stranger's."""

from __future__ import annotations

from collections.abc import Callable
from typing import BinaryIO

import numpy as np
from numpy.typing import NDArray

from exchange.formats.arrow_columns import code_cells
from exchange.formats.options import ReadOptions
from exchange.formats.properties import KIND, PERIMETER, TABLES, TRACK
from exchange.formats.xml.parse import iterate_elements
from exchange.model import Packet
from exchange.model.columns import TextColumn
from exchange_kml.foreign import ForeignReader
from exchange_kml.gather import Batch
from exchange_kml.house import HouseReader
from exchange_kml.names import EXTENSION, KML
from exchange_kml.problems import Teller
from exchange_kml.take import DATA, SEPARATOR, SIMPLE
from exchange_kml.walker import Walker

LINKS_FILE = "network-links.kml"
"""Attachment that keeps the links of a file, as a document of its own."""


class FeatureReader:
    """Read batches of placemarks.

    Parameters
    ----------
    file
        What sources call the file.
    options
        What the file does not say of itself.
    walker
        Whose styles and schemas hold.
    teller
        Where problems go.
    open_stream
        Opens the document again, for styles that stand behind what they are for.

    Attributes
    ----------
    layers, all_layers
        Which of the layers asked for have been met, and every layer met.
    """

    def __init__(
        self, file: str, options: ReadOptions, walker: Walker, teller: Teller, open_stream: Callable[[], BinaryIO]
    ) -> None:
        self.options, self.walker = options, walker
        self.open_stream = open_stream
        self.layers: set[str] = set()
        self.all_layers: set[str] = set()
        self._has_looked_ahead = False
        self._foreign = ForeignReader(file, options, walker, teller, self.find_style)
        self._house = HouseReader(file, walker, teller, self.find_style)

    def read(self, batch: Batch) -> Packet:
        """Return what a batch holds.

        Raises
        ------
        MalformedError
            When a record with the house's mark holds a value that is none.
        """
        wanted = self.find_wanted(batch)
        if not wanted.all():
            batch = batch.take_mask(wanted)
        if not len(batch):
            return Packet(incident=self.walker.incident)
        kinds = tell_kinds(batch)
        packets = [Packet(incident=self.walker.incident)]
        if (kinds == "").any():
            packets.append(self._foreign.read(batch.take_mask(kinds == "")))
        packets += [
            self._house.read(kind, batch.take_mask(kinds == kind))
            for kind in (*TABLES, TRACK, PERIMETER)
            if (kinds == kind).any()
        ]
        return Packet.join(packets)

    def finish(self) -> Packet:
        """Return what could be told only at the end of the file."""
        links = "".join(self.walker.links)
        document = f'<kml xmlns="{KML}" xmlns:gx="{EXTENSION}"><Document>{links}</Document></kml>'
        attachments = {LINKS_FILE: document.encode()} if links else {}
        packets = [Packet(incident=self.walker.incident, attachments=attachments), self._house.finish()]
        return Packet.join(packets)

    def find_wanted(self, batch: Batch) -> NDArray[np.bool_]:
        """Return which rows stand in a layer that is asked for."""
        paths = [container.path() for container in batch.containers]
        self.all_layers.update(path for path in paths if path)
        if not self.options.layers:
            return np.ones(len(batch), dtype=bool)
        asked = [[layer for layer in self.options.layers if f"{path}/".startswith(f"{layer}/")] for path in paths]
        self.layers.update(layer for layers in asked for layer in layers)
        return np.array([bool(layers) for layers in asked], dtype=bool)[batch.container]

    def find_style(self, url: str) -> str | None:
        """Return the XML of the style a URL names; looks through the whole file once if it is not known yet."""
        found = self.walker.styles.find(url)
        if found is None and not self._has_looked_ahead and "#" in url:
            self._has_looked_ahead = True
            with self.open_stream() as stream:
                for kind, element in iterate_elements(
                    stream, tags=["{*}Style", "{*}StyleMap"], encoding=self.options.encoding
                ):
                    if kind == "end" and element.get("id"):
                        self.walker.styles.add(element)
            found = self.walker.styles.find(url)
        return found


def tell_kinds(batch: Batch) -> TextColumn:
    """Return for each row what the house's mark says it is; empty where it carries none."""
    kinds: TextColumn = np.full(len(batch), "", dtype=object)
    known = {kind: kind for kind in (*TABLES, TRACK, PERIMETER)}
    for key, cells in batch.columns.items():
        kind, _, rest = key.partition(SEPARATOR)
        if kind in (DATA, SIMPLE) and rest.rpartition(SEPARATOR)[2] == KIND:
            texts, code = code_cells(cells)
            marked = np.array([known.get(text.strip(), "") for text in texts], dtype=object)[code]
            kinds = np.where(marked != "", marked, kinds)
    return kinds
