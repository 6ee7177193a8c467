"""What ``exchange merge`` writes: the list, the sightings, the picture."""

from __future__ import annotations

import sys
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from exchange.errors import OptionError

if TYPE_CHECKING:
    from exchange.formats.host import Host
    from exchange.merge import Merged
    from exchange.model import Detections, Packet, Problem


@dataclass(frozen=True)
class MergeWork:
    """Hold what was read, what came of it, and what is to be told."""

    packet: Packet
    merged: Merged
    spots: Detections
    problems: tuple[Problem, ...]


@dataclass(frozen=True)
class MergeOutputs:
    """Hold where everything goes."""

    output: str
    target_format: str
    sightings: str | None
    picture: str | None
    overwrite: bool

    def check(self, *, as_json: bool, explains: bool) -> None:
        """Refuse what cannot be written before anything is read."""
        from exchange.cli.outputs import refuse_existing

        if not self.output and not explains:
            raise OptionError("nothing says where the list goes", field="-o", remedy="Give -o OUT.")
        if self.output == "-" and as_json:
            raise OptionError("standard output cannot carry both the data and the report", field="--json")
        if self.output == "-" and not self.target_format:
            raise OptionError("standard output has no name to tell its format", remedy="Say it with --to FORMAT.")
        if self.picture and not self.picture.lower().endswith(".png"):
            raise OptionError(f"{self.picture!r} is no name of a PNG picture", field="--picture",
                              remedy="Let it end in .png.")  # fmt: skip
        named = [name for name in (self.output, self.sightings, self.picture) if name and name != "-"]
        if len({Path(name).resolve() for name in named}) < len(named):
            raise OptionError("one file is named for two outputs", remedy="Give each output a name of its own.")
        for name in named:
            refuse_existing(Path(name), overwrite=self.overwrite)

    def write(self, work: MergeWork, host: Host) -> tuple[Problem, ...]:
        """Write the list, the sightings and the picture; return what a format could not hold."""
        losses: tuple[Problem, ...] = ()
        if self.picture:
            self._draw(work)
        if self.sightings:
            losses += self._write_sightings(work, host)
        return losses + self._write_list(work, host)

    def _write_list(self, work: MergeWork, host: Host) -> tuple[Problem, ...]:
        from exchange.formats.writing import write, write_stream

        result = work.packet.replace(detections=work.spots, attachments={})
        if self.output == "-":
            return write_stream(result, sys.stdout.buffer, host=host, format_name=self.target_format)
        if not self.output:
            return ()
        return write(result, self.output, host=host, format_name=self.target_format, overwrite=self.overwrite)

    def _write_sightings(self, work: MergeWork, host: Host) -> tuple[Problem, ...]:
        from exchange.formats.writing import write
        from exchange.merge.origins import name_origins
        from exchange.model import Packet

        assert self.sightings  # noqa: S101  # the caller asked
        told = Packet(incident=work.packet.incident, detections=name_origins(work.merged.sightings))
        return write(told, self.sightings, host=host, overwrite=self.overwrite)

    def _draw(self, work: MergeWork) -> None:
        from exchange.merge.picture import draw_merge

        assert self.picture  # noqa: S101  # the caller asked
        Path(self.picture).write_bytes(draw_merge(work.merged, spots=work.spots, title=work.packet.incident))
