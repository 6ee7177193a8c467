"""A plugin that works: one mark a line, longitude and latitude; and a device that takes such lists."""

from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import numpy as np

from exchange.formats.format import Format, InputFile
from exchange.formats.holds import Held, Holds
from exchange.formats.hooks import hookimpl
from exchange.formats.options import ReadOptions, WriteOptions
from exchange.model import Detections, Packet, Problem, Sources

_LOST = frozenset(Detections.column_names()) - {"longitude", "latitude"}


class MarkList(Format):
    name = "marks"
    title = "List of marks"
    suffixes = (".marks",)
    holds = Holds(detections=Held(loses=_LOST, extra="none", needs_position=True), incident=False)

    def recognise(self, head: bytes) -> bool:
        return head.startswith(b"#marks")

    def read(self, file: InputFile, options: ReadOptions) -> Iterator[Packet]:
        rows = np.array([line.split() for line in file.path.read_text().splitlines()[1:]], dtype=float).reshape(-1, 2)
        sources = Sources.of(file.name, "", np.arange(1, len(rows) + 1))
        yield Packet(detections=Detections(longitude=rows[:, 0], latitude=rows[:, 1], source=sources))

    def write(self, packet: Packet, target: Path, options: WriteOptions) -> list[Problem]:
        places = zip(packet.detections.longitude.tolist(), packet.detections.latitude.tolist(), strict=True)
        target.write_text("#marks\n" + "".join(f"{longitude!r} {latitude!r}\n" for longitude, latitude in places))
        return []


@hookimpl
def exchange_formats() -> list[Format]:
    return [MarkList()]


@hookimpl
def exchange_profiles() -> Mapping[str, Mapping[str, Any]]:
    return {"mark-board": {"title": "Board that shows marks", "format": "marks", "comment_length": 0}}
