"""What ``exchange merge`` writes: the list, the sightings, the picture."""

from __future__ import annotations

import sys
from collections.abc import Iterable
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

    def check(self, inputs: Iterable[str], *, as_json: bool, explains: bool) -> None:
        """Refuse what cannot be written, or would replace one of the ``inputs``, before anything is read."""
        from exchange.cli.outputs import check_outputs, check_picture

        if not self.output and not explains:
            raise OptionError("nothing says where the list goes", field="-o", remedy="Give -o OUT.")
        check_picture(self.picture)
        check_outputs(
            self.output,
            self.sightings,
            self.picture,
            inputs=inputs,
            target_format=self.target_format,
            overwrite=self.overwrite,
            as_json=as_json,
        )

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
